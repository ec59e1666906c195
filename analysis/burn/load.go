package burn

import "time"

// Load is wood laid on: the lighting of a cold furnace or a reload. Temperatures are NaN
// where there was no reading.
type Load struct {
	// At is when the fire was lit or the door was opened for it, as far as the readings
	// tell; Known is when it was recognised, which is later.
	At, Known time.Duration
	// Cold says that it began a burn; otherwise it was laid on fire or coals.
	Cold bool
	// Coals is how long the fire had been in coals before, Age the time since the load
	// before it.
	Coals, Age time.Duration
	// Flue, Chamber and Firebox are the readings just before the door was opened, °C.
	Flue, Chamber, Firebox float64
}
