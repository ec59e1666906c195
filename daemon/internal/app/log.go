package app

import (
	"log/slog"

	"fluewright/daemon/internal/message"
	"fluewright/daemon/internal/status"
)

// logEvents writes what changed in a tick to the program's log: changes only, so that a
// season's log stays readable.
func logEvents(log *slog.Logger, s *status.Status, u message.Units) {
	for _, e := range s.Assessment.Events {
		switch line := message.Line(e, s.WallOf, u).(type) {
		case message.AlarmLine:
			log.Warn("alarm", "alarm", line.Alarm, "channel", line.Channel, "state", line.State,
				"priority", line.Priority, "message", line.Message)
		case message.PhaseLine:
			log.Info("phase", "phase", line.Phase, "from", line.From)
		case message.BurnLine:
			log.Info("burn is over", "start", line.Start, "end", line.End)
		}
	}
}
