package app

import (
	"slices"

	"fluewright/analysis/frame"
	"fluewright/daemon/internal/config"
	"fluewright/sensors"
	"fluewright/sensors/path"
)

// way is what the samples of a chip of this kind go through, from what is known of the
// chip and of the place that it measures at.
func (c chip) way(s config.Sensor) path.Opts {
	o := path.Opts{FrozenAfter: c.frozen}
	switch c.quantity(s.Channels[0]) {
	case sensors.HotJunction:
		o.Probe = &path.Probe{
			TimeConstant: s.Lag,
			Noise:        c.noise,
			Indoors:      !slices.Contains(s.Channels, frame.Outdoor),
		}
	case sensors.DifferentialPressure:
		o.Hose = c.noise
	}
	return o
}
