package plausible

import (
	"math"
	"time"

	"fluewright/analysis/frame"
)

const (
	restsWithin  = 10.0 // K of the room: a probe upstream that nothing heats
	restsApart   = 25.0 // K over the room: the flue beside such probes
	restsFor     = time.Hour
	belowAll     = 15.0 // K colder than all that surrounds it
	belowFor     = 10 * time.Minute
	coldestNight = -40.0 // °C, where nobody measures the outdoors
)

// rest is one channel beside a furnace that is cold.
type rest struct{ apart, below time.Duration }

// resting finds channels that differ where nothing is left to warm or cool them: a flue
// hotter than all that is upstream of it, and anything colder than room and outdoors.
func (r *Rules) resting(in Inputs, dt time.Duration, found *Findings) {
	cold := min(in.Values.Or(frame.Outdoor, coldestNight), r.room)
	for c := frame.Firebox; c <= frame.Return; c++ {
		s := &r.rests[c]
		v := in.Values[c]
		if math.IsNaN(v) {
			continue
		}
		s.below = lasting(s.below, dt, v < cold-belowAll)
		s.apart = lasting(s.apart, dt, c == frame.Flue && v-r.room >= restsApart && r.upstreamRests(in, found))
		if s.below >= belowFor || s.apart >= restsFor {
			found.add(c, Drifted)
		}
	}
}

// upstreamRests reports whether there are other probes in the gas and all are cold.
func (r *Rules) upstreamRests(in Inputs, found *Findings) bool {
	any := false
	for _, c := range []frame.Channel{frame.Firebox, frame.Chamber} {
		if !in.Values.Has(c) || r.distrusted(c, found) {
			continue
		}
		if math.Abs(in.Values[c]-r.room) > restsWithin {
			return false
		}
		any = true
	}
	return any
}

// Weather takes the pressure at most so far from the standard atmosphere, as a share of
// it: records on land are −14 % (in a typhoon) and +7 %; judgement from memory.
const (
	deepestLow  = 0.90
	highestHigh = 1.07
	lowestSite  = 60e3  // Pa: 4 km up
	highestSite = 109e3 // Pa: at the sea, in the highest high
	altitudeFor = 5 * time.Minute
)

// ambient judges the absolute pressure.
func (r *Rules) ambient(in Inputs, dt time.Duration) string {
	v := in.Values[frame.Ambient]
	if math.IsNaN(v) {
		return ""
	}
	low, high := lowestSite, highestSite
	if in.SitePressure > 0 && !math.IsInf(in.SitePressure, 0) {
		low, high = float64(deepestLow*in.SitePressure), float64(highestHigh*in.SitePressure)
	}
	r.altitude = lasting(r.altitude, dt, v < low || v > high)
	if r.altitude >= altitudeFor {
		return WrongAltitude
	}
	return ""
}
