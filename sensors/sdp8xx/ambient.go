package sdp8xx

// CalibrationPressure is the absolute pressure at which the sensors are calibrated, Pa.
const CalibrationPressure = 96600

// Bounds of an ambient pressure that a barometer could report at an inhabited place, Pa.
const (
	lowestAmbient  = 30000
	highestAmbient = 120000
)

// CorrectForAmbient turns what the sensor reports into the true differential pressure at
// the given absolute pressure, both in Pa:
//
//	Δp = Δp_sensor · 96 600 / p_ambient
//
// because the sensor counts the gas that passes, and denser gas passes more: it reads too
// much above its calibration pressure. It holds for the differential-pressure modes
// (0x3615, 0x361E). Source: Sensirion, SDP8xx-Digital datasheet; at 1006.5 mbar a true
// 100 Pa reads 104.2 Pa. ok is false, and the value 0, for an ambient pressure that
// cannot be: the reading has no true value then ([sensors.NoAmbient]).
func CorrectForAmbient(reported, ambient float64) (pascals float64, ok bool) {
	// Written so that NaN fails.
	if !(ambient >= lowestAmbient && ambient <= highestAmbient) {
		return 0, false
	}
	return reported * CalibrationPressure / ambient, true
}
