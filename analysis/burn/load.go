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
	// Door says that a door was seen to open for it. A load without one was told by a
	// rise out of the coals alone, which an opened ash door can also give.
	Door bool
	// Coals is how long the fire had been in coals before, Age the time since the load
	// before it, zero where none was seen.
	Coals, Age time.Duration
	// Flue, Chamber and Firebox are the readings just before the door was opened, °C.
	Flue, Chamber, Firebox float64
}

// Door is the loading or the ash door, as far as the readings tell. A door ajar is open.
type Door struct {
	// Open says that a door seems to stand open. Nobody has seen one where At is zero.
	Open bool
	// At is when it was opened last, Closed when it was shut again, as far as known.
	At, Closed time.Duration
}

// Rise is the flue's, or upstream of it the fire's, way up from a low point.
type Rise struct {
	// At and From are the low point: when, and how hot, °C. Zero where it does not rise.
	At   time.Duration
	From float64
	// Door says that a door was seen open shortly before it: wood or a poker may be the
	// reason. Without one the air is, or the readings did not show the door.
	Door bool
}
