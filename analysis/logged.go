package analysis

import "fluewright/analysis/notice"

// Fuel tells the engine how wet the wood is that somebody laid on or measured: kg of water
// per kg of moist wood, 0 to 1. It speaks for or against dry wood as a cause until the next
// such entry. Like Acknowledge it belongs between two steps.
func (e *Engine) Fuel(moisture float64) { e.judges.causes.Fuel(moisture, e.view.At) }

// Done tells the engine that a job of upkeep was done, so that its hours count anew; see
// Fuel.
func (e *Engine) Done(j notice.Job) { e.judges.notices.Upkeep.Done(j) }

// Upkeep returns how much has burnt since each job was done, as of the last step; see Fuel.
func (e *Engine) Upkeep() notice.Upkeep { return e.judges.notices.Upkeep }
