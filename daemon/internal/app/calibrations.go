package app

import (
	"fluewright/analysis/frame"
	"fluewright/daemon/internal/calibrate"
	"fluewright/daemon/internal/config"
	"fluewright/sensors/calibration"
)

// calibrations holds what is known of the errors of the chips that are there.
type calibrations struct {
	file  *calibrate.File
	chips [frame.Count]config.Sensor
	// serial returns the number of the specimen that answers.
	serial func(sensor string) string
}

// newCalibrations reads the state directory; an empty name stands for none. What it returns
// can be used also if there is an error, and then knows of no calibration.
func newCalibrations(dir string, cfg *config.Config, serial func(string) string) (*calibrations, error) {
	k := &calibrations{file: &calibrate.File{}, serial: serial}
	for _, s := range cfg.Sensors {
		for _, c := range s.Channels {
			k.chips[c] = s
		}
	}
	if dir == "" {
		return k, nil
	}
	file, err := calibrate.Load(dir)
	if err != nil {
		return k, err
	}
	k.file = file
	return k, nil
}

// entry returns the channel's calibration, and why it is not to be used.
func (k *calibrations) entry(c frame.Channel) (e calibrate.Entry, refused string, ok bool) {
	if e, ok = k.file.For(c); !ok {
		return e, "", false
	}
	chip := k.chips[c]
	return e, e.Refuses(chip.Chip, k.serial(chip.Name)), true
}

// correction returns what to do to a reading of the channel.
func (k *calibrations) correction(c frame.Channel) (calibration.Correction, bool) {
	e, refused, ok := k.entry(c)
	return e.Correction(), ok && refused == ""
}
