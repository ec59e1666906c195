package app

import (
	"cmp"
	"log/slog"
	"time"

	"fluewright/daemon/internal/message"
	"fluewright/daemon/internal/status"
	"fluewright/sensors"
)

// journal writes what changed to the program's log: changes only, so that a season's log
// stays readable.
type journal struct {
	log    *slog.Logger
	units  message.Units
	faults map[string]*faultLog // by sensor
	// serials and refused likewise.
	serials, refused map[string]string
}

func newJournal(log *slog.Logger, u message.Units) *journal {
	return &journal{log: log, units: u, faults: map[string]*faultLog{}, serials: map[string]string{}, refused: map[string]string{}}
}

// tick writes the changes of one tick.
func (j *journal) tick(s *status.Status) {
	for _, e := range s.Assessment.Events {
		switch line := message.Line(e, s.WallOf, j.units).(type) {
		case message.AlarmLine:
			j.log.Warn("alarm", "alarm", line.Alarm, "channel", line.Channel, "state", line.State,
				"priority", line.Priority, "message", line.Message)
		case message.PhaseLine:
			j.log.Info("phase", "phase", line.Phase, "from", line.From)
		case message.BurnLine:
			j.log.Info("burn is over", "start", line.Start, "end", line.End)
		}
	}
	for _, c := range s.Sensors {
		j.sensor(s.Frame.At, c)
	}
}

// A loose wire comes and goes many times a minute, for weeks. Judgement, both.
const (
	// mostFaults is how many changes of a sensor are told within a window of that length.
	mostFaults   = 6
	faultsWindow = 10 * time.Minute
)

// faultLog is what the journal says of a sensor's faults.
type faultLog struct {
	seen, told sensors.Code  // the last one; empty for none
	from       time.Duration // the window's beginning, on the frames' clock
	said       int           // changes that were told in the window
	kept       int           // and those that were not
}

// see takes in what a tick has, and reports whether it is told: a change, or what lasts of
// changes that were not.
func (f *faultLog) see(code sensors.Code) bool {
	full := f.said >= mostFaults
	if code != f.seen && full {
		f.kept++
	}
	f.seen = code
	if code == f.told || full {
		return false
	}
	f.told = code
	f.said++
	return true
}

// missed returns how many changes were not told in a window that is over, once.
func (f *faultLog) missed(at time.Duration) (kept int) {
	if at-f.from < faultsWindow {
		return 0
	}
	kept = f.kept
	f.from, f.said, f.kept = at, 0, 0
	if kept > 0 {
		f.said = mostFaults - 1 // how it is now is told, and no more in this window
	}
	return kept
}

// specimen tells that a chip was exchanged, or is not the one that was calibrated.
func (j *journal) specimen(s status.Sensor) {
	if s.Former != "" && s.Serial != j.serials[s.Name] {
		j.log.Warn("another specimen of the chip answers", "sensor", s.Name, "serial", s.Serial, "before", s.Former)
	}
	j.serials[s.Name] = s.Serial
	if s.Refused != j.refused[s.Name] && s.Samples > 0 {
		j.refused[s.Name] = s.Refused
		if s.Refused != "" {
			j.log.Warn("the calibration is not used", "sensor", s.Name, "because", s.Refused)
		}
	}
}

// sensor tells a fault when it comes, with what this computer lacks, and its end.
func (j *journal) sensor(at time.Duration, s status.Sensor) {
	j.specimen(s)
	f := j.faults[s.Name]
	if f == nil {
		f = &faultLog{from: at}
		j.faults[s.Name] = f
	}
	now := sensors.Code("")
	if s.Fault != nil {
		now = s.Fault.Code
	}
	if kept := f.missed(at); kept > 0 {
		j.log.Warn("sensor comes and goes", "sensor", s.Name, "changes not told", kept, "within", faultsWindow, "now", cmp.Or(string(now), "reads"))
	}
	if !f.see(now) {
		return
	}
	if s.Fault == nil {
		j.log.Info("sensor reads again", "sensor", s.Name)
		return
	}
	j.log.Warn("sensor", "sensor", s.Name, "fault", s.Fault.Error(), "first", s.Fault.Hint())
}
