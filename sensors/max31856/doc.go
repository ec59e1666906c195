// Package max31856 drives the MAX31856 thermocouple amplifier over SPI.
//
// The chip converts on demand, because only then does it test for an open circuit every
// time; in its automatic mode an open thermocouple goes unnoticed for 16 conversions.
// Each look reads all sixteen registers in one transaction, configuration, data and
// status together, and then asks for the next conversion. SPI has no acknowledge and the
// chip no identity, so that the configuration's echo is the proof that it is there and
// has kept its supply: after a dip it would report 0.00 °C without a fault. A number that
// changes with each request shows that the request has arrived; without it a broken
// data-in wire would repeat one temperature for ever.
//
// Datasheet: MAX31856 19-7534 Rev 0, 2/15; pages below are its.
package max31856
