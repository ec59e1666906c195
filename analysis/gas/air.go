package gas

import (
	"math"

	"fluewright/analysis/portable"
)

// US Standard Atmosphere 1976, troposphere.
const (
	earthRadius    = 6356766.0 // m
	standardKelvin = 288.15
	lapseRate      = 0.0065            // K/m
	standardR      = 8314.32 / 28.9644 // J/(kg K), the constants of 1976
)

// Atmosphere is the state of the air outdoors as the standard has it.
type Atmosphere struct {
	Pressure    float64 // Pa
	Temperature float64 // °C
	Density     float64 // kg/m³, dry
}

// StandardAtmosphere returns the US Standard Atmosphere 1976 at the given height above
// sea level in m: T = 288.15 - 0.0065 H, p = 101325 (T/288.15)^5.25588 with the
// geopotential height H = r z/(r + z). Range -500 to 11000 m; it follows the standard to
// 1e-6. The weather moves the real pressure by ±3 %.
func StandardAtmosphere(height float64) Atmosphere {
	h := earthRadius * height / (earthRadius + height)
	k := standardKelvin - float64(lapseRate*h)
	p := SeaLevel * portable.Pow(k/standardKelvin, Gravity/(standardR*lapseRate))
	return Atmosphere{Pressure: p, Temperature: k - Kelvin, Density: p / (standardR * k)}
}

// HumidityRatio returns kg of water vapour per kg of dry air at t °C, p Pa and a relative
// humidity of 0 to 1: 0.62196 e/(p - e) with e = humidity times SaturationPressure.
// Within 0.5 % of the real gas (the enhancement factor is left out), -100 to 90 °C.
func HumidityRatio(humidity, t, p float64) float64 {
	if humidity == 0 {
		return 0
	}
	vapour := float64(humidity * SaturationPressure(t))
	return molarH2O / molarAir * vapour / (p - vapour)
}

// AirDewPoint returns the dew point (below 0 °C the frost point) of air in °C at t °C and
// a relative humidity of 0 to 1; -Inf for dry air.
func AirDewPoint(humidity, t float64) float64 {
	if humidity <= 0 {
		return math.Inf(-1)
	}
	return SaturationTemperature(humidity * SaturationPressure(t))
}
