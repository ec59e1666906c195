// Package ads1115 reads voltages through the analog-to-digital converter ADS1115 on I2C.
//
// It is not periph's ads1x15 because that sleeps for the nominal conversion time and asks
// nothing: the chip's clock may be 10 % slow, and then each reading is the one before,
// which may be another input's. Here the bit that says that the conversion has ended is
// read, and with it the configuration, which proves which input was converted and that
// the supply has not dipped.
//
// Datasheet: ADS1115 SBAS444D; sections below are its.
package ads1115
