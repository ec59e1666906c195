// Package units reads quantities as people write them, with their unit, and writes them
// as the site's screens show them. Everything between the two is SI: degrees Celsius,
// pascals, metres, seconds, watts.
//
// A temperature and a difference of temperatures are two dimensions with no spelling in
// common: 20 °F is −6.7 °C as one and 11.1 K as the other, and a limit mistaken for a
// margin must not pass.
package units

// Definitions. The inches are conventional columns: 1000 kg/m³ of water under standard
// gravity. Other inches of water are in use (39.2 °F, 60 °F, 20 °C); the smallest is
// 0.18 % less, which no draft gauge shows.
const (
	PascalsPerInH2O = 249.08891 // 1000 kg/m³ · 9.80665 m/s² · 0.0254 m
	PascalsPerInHg  = 3386.38   // at 0 °C, CRC Handbook of Chemistry and Physics
	MetresPerFoot   = 0.3048    // exact: the international foot
	// JoulesPerBtu is the International Table British thermal unit, exact.
	JoulesPerBtu = 1055.05585262
)

// Celsius returns a temperature given in degrees Fahrenheit.
func Celsius(fahrenheit float64) float64 { return (fahrenheit - 32) * 5 / 9 }

// Fahrenheit returns a temperature given in degrees Celsius.
func Fahrenheit(celsius float64) float64 { return celsius*9/5 + 32 }
