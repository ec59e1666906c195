// Package max31855 drives the MAX31855 thermocouple amplifier over SPI.
//
// The chip sends 32 bits and hears nothing: no register, no identity, no checksum. What
// its words prove is little: two reserved bits that are always 0, a fault bit that is the
// sum of three others, and that not all bits are the same. A frame of zeros is legal, is
// what a dead wire reads, and is refused. Which thermocouple it is made for is its
// suffix (K, J, N, T, E, R or S); a wrong one in the configuration cannot be noticed. A
// supply dip cannot either; the frame that follows one is old for 200 ms at most.
//
// It takes the thermocouple for a straight line, so that its number is corrected by
// [Linearise]. A clear fault bit is no proof: a wire at ground has been seen to pass for
// a temperature near that of the terminals (public report of the frame 01 50 17 90).
//
// Datasheet: MAX31855 19-5793 Rev 5, 1/15; pages below are its.
package max31855
