package app

import (
	"fmt"
	"time"

	"fluewright/analysis/alarm"
	"fluewright/analysis/burn"
	"fluewright/analysis/frame"
	"fluewright/daemon/internal/config"
	"fluewright/daemon/internal/history"
	"fluewright/daemon/internal/status"
)

// Judgement, both.
const (
	// tellWithin is how long, beyond its hold time, the loss of a reading may go untold.
	tellWithin = time.Minute
	// wedgedAfter is how long the history's writer may neither write nor fail. It has
	// something to do every ten minutes at least, and tries again each minute.
	wedgedAfter = 30 * time.Minute
)

// fitness judges at each tick whether the watch is kept, so that the watchdog may be fed.
// What the monitor is made to live with does not make it unfit: a bus that hangs and is
// called lost, a storage that gives errors. A restart mends none of that, and it costs the
// watch: a process that hangs in the kernel cannot even be ended.
type fitness struct {
	stale   time.Duration         // when a reading is too old to judge by
	untold  time.Duration         // how long a loss may go untold
	history func() history.Health // nil where none is kept

	begun  bool
	looks  []look              // by sensor, in the status's order
	lost   [frame.Count]moment // since when a channel has had no reading
	writes uint64              // how often the history was written, or could not be
	wrote  time.Duration       // when that was
}

// look is how often a sensor has been looked at, and when last.
type look struct {
	count uint64
	at    time.Duration
}

func newFitness(cfg *config.Config, past func() history.Health) *fitness {
	timing, ok := cfg.Analysis.Timing[alarm.SensorLost]
	if !ok {
		d, _ := alarm.Declared(alarm.SensorLost)
		timing = d.Timing
	}
	return &fitness{stale: cfg.Sampling.StaleAfter, untold: timing.Hold + tellWithin, history: past}
}

// step returns why the watch is not kept, empty if it is.
func (f *fitness) step(s *status.Status) string {
	at := s.Frame.At
	if !f.begun {
		f.looks, f.wrote = make([]look, len(s.Sensors)), at
	}
	why := ""
	for i := range s.Sensors {
		if w := f.judge(&s.Sensors[i], &f.looks[i], s); w != "" {
			why = w
		}
	}
	f.begun = true
	if w := f.judgeHistory(s); w != "" {
		why = w
	}
	return why
}

// judge holds a sensor's readings against whether it was looked at.
func (f *fitness) judge(sensor *status.Sensor, l *look, s *status.Status) string {
	at, count := s.Frame.At, sensor.Samples
	for _, n := range sensor.Faults {
		count += n
	}
	if !f.begun || count != l.count {
		*l = look{count, at}
	}
	why := ""
	for _, c := range sensor.Channels {
		switch lost := &f.lost[c]; {
		case s.Frame.Inputs[c].Usable():
			*lost = moment{}
			if age := at - l.at; age > 2*f.stale {
				why = fmt.Sprintf("a reading of %v is used, and its sensor was not looked at for %v", c, age.Round(time.Second))
			}
		case !lost.some:
			*lost = moment{at, true}
		case at-lost.at > f.untold && !told(s, c):
			why = fmt.Sprintf("there is no reading of %v, and no alarm says so", c)
		}
	}
	return why
}

// told reports whether the loss of a channel is alarmed, or a person has shelved that.
func told(s *status.Status, c frame.Channel) bool {
	for _, a := range s.Assessment.Alarms {
		if a.Key == (alarm.Key{Name: alarm.SensorLost, Channel: c}) {
			return a.Condition == alarm.Holds || a.State == alarm.Shelved
		}
	}
	return true // there is no such alarm to raise
}

// judgeHistory sees a writer that does not come back. While there may be a fire that is no
// reason for a restart: the watch goes on without it, and its alarm stands.
func (f *fitness) judgeHistory(s *status.Status) string {
	if f.history == nil {
		return ""
	}
	h, at := f.history(), s.Frame.At
	if n := h.Commits + h.Failures; n != f.writes {
		f.writes, f.wrote = n, at
	}
	if at-f.wrote > wedgedAfter && s.Assessment.Phase == burn.Cold && !s.Assessment.Burning {
		return fmt.Sprintf("the history was neither written nor given up for %v", (at - f.wrote).Round(time.Minute))
	}
	return ""
}
