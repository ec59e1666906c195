package analysis

import (
	"time"

	"fluewright/analysis/alarm"
	"fluewright/analysis/flueway"
	"fluewright/analysis/forecast"
	"fluewright/analysis/frame"
	"fluewright/analysis/gate"
	"fluewright/analysis/notice"
)

// Snapshot is what must outlive a restart: the alarms, and what was learnt.
type Snapshot struct {
	alarm.Snapshot
	Regulator gate.Memory    `json:"regulator"`
	Flue      flueway.Memory `json:"flue"`
	Upkeep    notice.Upkeep  `json:"upkeep"`
	// Rises are those of the channels that have a limit, by their names.
	Rises map[string]forecast.Memory `json:"rises,omitempty"`
	// Moisture is what was noted of the wood at last; see Engine.Fuel.
	Moisture *float64 `json:"moisture,omitempty"`
}

// Snapshot returns what must outlive a restart, as of the last step. wall is the wall clock
// now and trusted whether it is known to be right.
func (e *Engine) Snapshot(wall time.Time, trusted bool) Snapshot {
	j := &e.judges
	s := Snapshot{
		Snapshot: e.panel.Snapshot(wall, trusted), Regulator: j.gate.Memory(), Flue: j.way.Memory(), Upkeep: j.notices.Upkeep,
		Rises: map[string]forecast.Memory{},
	}
	if wet, noted := j.causes.Moisture(); noted {
		s.Moisture = &wet
	}
	for c, judge := range j.forecasts {
		if judge != nil {
			s.Rises[frame.Channel(c).String()] = judge.Memory()
		}
	}
	return s
}

// Restore takes a snapshot over before the first step; the error names the alarms of it
// that were not. What was learnt and makes no sense counts as nothing.
func (e *Engine) Restore(s Snapshot, wall time.Time, trusted bool) error {
	j := &e.judges
	j.gate.Restore(s.Regulator)
	j.way.Restore(s.Flue)
	j.notices.Upkeep = s.Upkeep.Sane()
	for c, judge := range j.forecasts {
		if judge != nil {
			judge.Restore(s.Rises[frame.Channel(c).String()])
		}
	}
	if s.Moisture != nil {
		e.Fuel(*s.Moisture)
	}
	return e.panel.Restore(s.Snapshot, wall, trusted)
}
