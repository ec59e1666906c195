package analysis

import (
	"time"

	"fluewright/analysis/alarm"
	"fluewright/analysis/flueway"
	"fluewright/analysis/gate"
	"fluewright/analysis/notice"
)

// Snapshot is what must outlive a restart: the alarms, and what was learnt.
type Snapshot struct {
	alarm.Snapshot
	Regulator gate.Memory    `json:"regulator"`
	Flue      flueway.Memory `json:"flue"`
	Upkeep    notice.Upkeep  `json:"upkeep"`
}

// Snapshot returns what must outlive a restart, as of the last step. wall is the wall clock
// now and trusted whether it is known to be right.
func (e *Engine) Snapshot(wall time.Time, trusted bool) Snapshot {
	j := &e.judges
	return Snapshot{e.panel.Snapshot(wall, trusted), j.gate.Memory(), j.way.Memory(), j.notices.Upkeep}
}

// Restore takes a snapshot over before the first step; the error names the alarms of it
// that were not. What was learnt and makes no sense counts as nothing.
func (e *Engine) Restore(s Snapshot, wall time.Time, trusted bool) error {
	j := &e.judges
	j.gate.Restore(s.Regulator)
	j.way.Restore(s.Flue)
	j.notices.Upkeep = s.Upkeep.Sane()
	return e.panel.Restore(s.Snapshot, wall, trusted)
}
