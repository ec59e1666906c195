// Package bme280 reads absolute pressure, air temperature and, where the chip has it,
// relative humidity from a BME280 or BMP280 on I2C, through periph's bmxx80.
//
// Reused from bmxx80: the set-up sequence, the calibration data and Bosch's compensation
// formulas. Not used, with the reason: its forced mode, because Sense then waits in the
// computer's own time and loops on the busy bit without limit; its SenseContinuous,
// because it ends silently at the first error; its errors, because they lose the errno
// (this package keeps what the bus said); its support of the BMP180, which is another
// chip. In normal mode the chip measures twice a second by itself and a look waits for
// nothing.
//
// bmxx80 looks at the chip's identity only when it is created, and nothing protects the
// words on the way, so that this package reads the configuration back before each look,
// the calibration twice, refuses what the chip cannot measure, and creates the bmxx80
// device anew after every failure.
//
// Datasheet: Bosch BST-BME280-DS001-10, revision 1.1, May 2015; its memory map is on p. 25.
package bme280
