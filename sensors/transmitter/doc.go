// Package transmitter measures differential pressure with an analog transmitter, whose
// signal an ADS1115 converts.
//
// Two kinds of signal are understood. Ratiometric: 0.5 to 4.5 V at a supply of 5 V, in
// truth a tenth to nine tenths of whatever the supply is, which is measured on a second
// input, so that its noise does not read as draft. Current: 4 to 20 mA through a shunt.
//
// Both have a live zero: a signal that is off is no pressure of −0.1 of the span but a
// fault. The bounds for the current are those of NAMUR NE 43: a transmitter measures from
// 3.8 to 20.5 mA, and below 3.6 or above 21 mA it is, or says that it is, at fault. NE 43
// knows no voltages; the same fractions of the span are used for them.
//
// A membrane does not care for the density of the air: nothing is corrected for the
// ambient pressure, as it is for thermal-flow sensors.
package transmitter
