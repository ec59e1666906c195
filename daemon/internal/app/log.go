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
	// serials and refused likewise.
	serials, refused map[string]string
}

func newJournal(log *slog.Logger, u message.Units) *journal {
	return &journal{log: log, units: u, faults: map[string]sensors.Code{}, serials: map[string]string{}, refused: map[string]string{}}
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
func (j *journal) sensor(s status.Sensor) {
	j.specimen(s)
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
