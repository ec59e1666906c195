package app

import (
	"log/slog"

	"fluewright/daemon/internal/message"
	"fluewright/daemon/internal/status"
	"fluewright/sensors"
)

// journal writes what changed to the program's log: changes only, so that a season's log
// stays readable.
type journal struct {
	log    *slog.Logger
	units  message.Units
	faults map[string]sensors.Code // the last one told, by sensor
}

func newJournal(log *slog.Logger, u message.Units) *journal {
	return &journal{log: log, units: u, faults: map[string]sensors.Code{}}
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
		j.sensor(c)
	}
}

// sensor tells a fault when it comes, with what this computer lacks, and its end.
func (j *journal) sensor(s status.Sensor) {
	now := sensors.Code("")
	if s.Fault != nil {
		now = s.Fault.Code
	}
	if now == j.faults[s.Name] {
		return
	}
	j.faults[s.Name] = now
	if s.Fault == nil {
		j.log.Info("sensor reads again", "sensor", s.Name)
		return
	}
	j.log.Warn("sensor", "sensor", s.Name, "fault", s.Fault.Error(), "first", s.Fault.Hint())
}
