// Package burn tells the phases of a wood fire apart and sums up each burn.
package burn

import "time"

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

// Summary is a burn so far, or a finished one. Times are on the frames' clock.
type Summary struct {
	Start, End time.Duration
	// PeakFlue is the hottest flue reading, °C; PeakChamber likewise, NaN without one.
	PeakFlue, PeakChamber float64
	// CleanBurn is the time spent in that phase.
	CleanBurn time.Duration
	// MeanDraft is over the burn's good draft readings, Pa; NaN without any.
	MeanDraft float64
}
