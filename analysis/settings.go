package analysis

import (
	"errors"
	"fmt"
	"time"

	"fluewright/analysis/alarm"
	"fluewright/analysis/chimney"
	"fluewright/analysis/frame"
)

// Settings is what the analysis must know of a site. All SI.
type Settings struct {
	// Fitted says which channels the site has a sensor for. One that is fitted and has
	// no reading is a lost sensor; one that is not is simply not there.
	Fitted [frame.Count]bool
	// Limits are the temperatures above which a channel is overheated, °C; zero where
	// there is none. Only firebox, chamber and flue may have one.
	Limits [frame.Count]float64
	// DraftLow and DraftHigh are the band that the appliance's maker specifies, Pa.
	DraftLow, DraftHigh float64
	// DraftAverage is the time over which the draft is averaged against wind.
	DraftAverage time.Duration
	// Chimney is the way of the flue gas; the zero value: not known.
	Chimney chimney.System
	// Regulator is the barometric draft regulator.
	Regulator Regulator
	// Altitude above sea level, m: stands in for a missing ambient pressure.
	Altitude float64
	// PlenumLimit is what the warm air should not exceed, °C; 0 for what is usual.
	PlenumLimit float64
	// Lags are the time constants of the sheaths, as far as they were not made up for, s.
	Lags [frame.Count]float64
	// AirFlow is what the blower moves, m³/s at the plenum; 0: not known.
	AirFlow float64
	// Monitored says that whoever runs the engine tells it how the monitor itself does: see
	// Engine.Impaired. A log that is replayed has no monitor.
	Monitored bool
	// Timing replaces the declared timing of the alarms it names.
	Timing map[alarm.Name]alarm.Timing
}

// Regulator is what is known of the barometric draft regulator. The zero value is one of
// which nothing is known.
type Regulator struct {
	Unfitted bool    // there is none
	Set      float64 // the draft at which it was set to open, Pa; 0: not known
	Diameter float64 // of its tee, m; 0: not known
}

// checkStack says what is impossible about chimney, regulator and altitude.
func (s *Settings) checkStack() error {
	var errs []error
	if s.Chimney != (chimney.System{}) {
		errs = append(errs, s.Chimney.Validate())
	}
	r := s.Regulator
	if r.Set != 0 && !(r.Set >= 1 && r.Set <= 100) {
		errs = append(errs, fmt.Errorf("regulator's set draft %g Pa is not within 1 to 100", r.Set))
	}
	if r.Diameter != 0 && !(r.Diameter >= 0.05 && r.Diameter <= 1) {
		errs = append(errs, fmt.Errorf("regulator's diameter %g m is not within 0.05 to 1", r.Diameter))
	}
	if !(s.Altitude >= -500 && s.Altitude <= 6000) {
		errs = append(errs, fmt.Errorf("altitude %g m is not within -500 to 6000", s.Altitude))
	}
	return errors.Join(errs...)
}
