package app

import (
	"cmp"
	"slices"

	"fluewright/analysis/frame"
	"fluewright/daemon/internal/config"
	"fluewright/sensors"
	"fluewright/sensors/path"
)

// coarse is the noise of an amplifier of which none is stated: the coarsest last digit
// there is, of the MAX31855 (datasheet 19-5793 Rev 5, table 3), K.
const coarse = 0.25

// way is what the samples of a chip of this kind go through, from what is known of the
// chip and of the place that it measures at.
func (c chip) way(s config.Sensor) path.Opts {
	o := path.Opts{FrozenAfter: c.frozen}
	switch c.quantity(s.Channels[0]) {
	case sensors.HotJunction:
		o.Probe = &path.Probe{
			TimeConstant: s.Lag,
			Noise:        cmp.Or(c.noise, coarse),
			Indoors:      !slices.Contains(s.Channels, frame.Outdoor),
		}
	case sensors.DifferentialPressure:
		o.Hose = c.noise
	}
	return o
}
