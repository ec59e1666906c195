package app

import (
	"errors"
	"io"
	"slices"

	"fluewright/daemon/internal/config"
	"fluewright/sensors"
	"fluewright/sensors/bus"
)

// BusCheck is whether a bus can be opened.
type BusCheck struct {
	Bus     string   `json:"bus"`
	Sensors []string `json:"sensors"`
	OK      bool     `json:"ok"`
	Problem string   `json:"problem,omitempty"`
	Hint    string   `json:"hint,omitempty"`
}

// CheckBuses opens each bus of the configuration and closes it again. It talks to no
// chip.
func CheckBuses(cfg *config.Config) []BusCheck {
	var all []BusCheck
	for _, s := range cfg.Sensors {
		if i := slices.IndexFunc(all, func(b BusCheck) bool { return b.Bus == s.Bus }); i >= 0 {
			all[i].Sensors = append(all[i].Sensors, s.Name)
			continue
		}
		c := BusCheck{Bus: s.Bus, Sensors: []string{s.Name}, OK: true}
		if err := tryBus(s); err != nil && sensors.CodeOf(err) != sensors.BusInUse { // by the daemon: well
			c.OK = false
			c.Problem, c.Hint = explain(err)
		}
		all = append(all, c)
	}
	return all
}

func tryBus(s config.Sensor) error {
	var c io.Closer
	var err error
	if chips[s.Chip].spi != nil {
		c, err = bus.OpenSPI(s.Bus)
	} else {
		c, err = bus.OpenI2C(s.Bus)
	}
	if err != nil {
		return err
	}
	return c.Close()
}

// explain says what is the matter and what to do about it.
func explain(err error) (problem, hint string) {
	var f *sensors.Fault
	if errors.As(err, &f) {
		return f.Code.Info().Title, f.Hint()
	}
	return err.Error(), ""
}
