// Package burn follows a wood fire through its phases, sees the doors opened and wood laid
// on, and sums up each burn. It judges by whatever channels there are, down to the flue
// alone; the fewer there are, the later and the less it says.
//
// A burn is what comes of one cold start or of one load on coals: loads laid on flames
// belong to the same burn, a load on coals begins the next one.
package burn

// Phase is a phase of a burn. The zero value says that it is not known.
type Phase uint8

// The phases.
const (
	Unknown   Phase = iota
	Cold            // no fire
	Lighting        // kindling burns, the chimney is cold
	WarmUp          // burning, not yet clean
	CleanBurn       // hot enough to burn its smoke
	Smoulder        // fuel left, too cold to burn its smoke
	Coals           // flames are over
	phaseCount
)

var names = [...]string{"unknown", "cold", "lighting", "warm-up", "clean-burn", "smoulder", "coals"}

// String returns the phase's name as every output writes it.
func (p Phase) String() string {
	if int(p) < len(names) {
		return names[p]
	}
	return names[Unknown]
}

// Phases lists the known phases.
func Phases() []Phase { return []Phase{Cold, Lighting, WarmUp, CleanBurn, Smoulder, Coals} }

// Fire reports whether something burns or glows, so that the chimney must draw.
func (p Phase) Fire() bool { return p >= Lighting }
