// Package thermocouple turns thermocouple voltages into temperatures and back, on
// ITS-90.
//
// The functions are those of NIST Monograph 175 (1993), which IEC 60584-1 and ASTM E230
// share, for the letter types B, E, J, K, N, R, S and T: voltages in mV against a
// reference junction at 0 °C, temperatures in °C. The monograph's inverse functions are
// approximations that are up to 0.06 °C off and step by as much where their ranges join,
// so that a slow rise would fall there; here they only give Newton's method its start on the
// reference function. The result is monotonic and as exact as the arithmetic.
//
// Nothing here knows of chips: an amplifier's own gain or registers are its driver's.
package thermocouple
