package plausible

import (
	"math"

	"fluewright/analysis/burn"
	"fluewright/analysis/frame"
	"fluewright/analysis/portable"
)

// A probe that ages or comes loose by degrees leaves the relations that it had to both other
// probes in the same gas, while those keep the relation that they have to each other. Load,
// air, door and fan move more than one of three. Relations are learned from a steady clean
// burn, and half an hour late, so that what strays is not learned while it does.
//
// The firebox is a witness only: its brick goes on warming for hours. The flue alone feels
// the blower, which takes at most a quarter of its rise: it is doubted for more than that, or
// for less beside warm air that shows no change of the blower, and only if it goes on evenly,
// as a fire that was too big and burns down does not. One that reads too hot is
// never doubted: it may be a fire in the flue, or one that outruns its exchanger. What is found
// takes nothing away from what else is said of a reading.
const (
	strayDelay   = 50  // marks, 25 min
	straySteady  = 20  // marks,
	strayRange   = 0.4 // of the logarithm, in which nothing moves by more than that
	strayKnown   = 10  // marks of a relation, at least
	strayChamber = 0.10
	strayFlue    = 0.20 // beside steady warm air,
	strayBlower  = 0.35 // or without: a quarter is 0.29, and what shut air leaves is the share's square
	strayCalm    = 0.12 // of the warm air's rise, in which it is steady
	strayHolds   = 0.08 // of the logarithm: the others burn down by no more
	strayUsual   = 3.0  // times what the relation usually misses by
	strayOthers  = 0.35 // of it, at most, is between the others
	strayBeyond  = 0.1  // of the logarithm, beyond where the relation was learned
	strayFor     = 6    // marks for the chamber,
	strayForFlue = 2    // for the flue, whose course is looked at as well:
	strayStep    = 8    // marks, of which three
	strayEven    = 0.3  // each with so much of their mean
	strayBack    = 0.5  // of what was found is left
)

// strayRises are what the three probes must have over the room, K, in the order of heated.
var strayRises = [len(heated)]float64{105, 105, 42}

// sight is what the three probes said at a mark: the logarithms of their rises, NaN without
// a clean burn.
type sight struct {
	logs   [len(heated)]float64
	steady bool
	air    float64 // K of rise
}

// strays follows the relations of the three probes in the gas.
type strays struct {
	sights    [strayDelay + 1]sight
	next      int
	count     int
	relations [len(heated)][len(heated)]relation // of the first, by the second

	leads [3*strayStep + 1]float64 // of the flue, by the mark; NaN where nothing is known
	lead  int
	since [len(heated)]int     // marks in a row
	found [len(heated)]float64 // how far it was off, below zero; zero: nothing
}

// ago is the sight so many marks ago, for i < count.
func (s *strays) ago(i int) *sight {
	return &s.sights[(s.next-1-i+2*len(s.sights))%len(s.sights)]
}

// strayed finds probes that have left their relations.
func (r *Rules) strayed(in Inputs, marked bool, found *Findings) {
	s := &r.strays
	if marked {
		s.look(r.sight(in, found))
		s.judge()
	}
	for i, c := range heated {
		if s.found[i] != 0 {
			found.add(c, Strayed)
		}
	}
}

// sight makes one of the latest mark.
func (r *Rules) sight(in Inputs, found *Findings) sight {
	now := r.trail.ago(0)
	v := sight{air: now[frame.Plenum] - r.room}
	fire := in.Phase == burn.CleanBurn
	for i, c := range heated {
		rise := now[c] - r.room
		v.logs[i] = math.NaN()
		if rise >= 1 {
			v.logs[i] = portable.Log(rise)
		}
		fire = fire && rise >= strayRises[i] && found[c] == "" && (r.found[c] == "" || r.found[c] == Strayed)
	}
	v.steady = fire // so far
	return v
}

// look takes a sight, and learns the one that is old enough.
func (s *strays) look(v sight) {
	s.sights[s.next] = v
	s.next = (s.next + 1) % len(s.sights)
	s.count = min(s.count+1, len(s.sights))
	last := s.ago(0)
	last.steady = last.steady && s.even()
	if s.count < len(s.sights) {
		return
	}
	old := s.ago(strayDelay)
	if !old.steady {
		return
	}
	for a := range heated {
		for b := range heated {
			if a != b {
				s.relations[a][b].learn(old.logs[b], old.logs[a], usualPower(a, b))
			}
		}
	}
}

// even reports whether the latest sights differ little.
func (s *strays) even() bool {
	if s.count <= straySteady {
		return false
	}
	for c := range heated {
		low, high := math.Inf(1), math.Inf(-1)
		for i := range straySteady + 1 {
			low, high = min(low, s.ago(i).logs[c]), max(high, s.ago(i).logs[c])
		}
		if !(high-low <= strayRange) {
			return false
		}
	}
	return true
}

// judge holds the latest sight against the relations. What cannot be judged changes nothing.
func (s *strays) judge() {
	s.lead = (s.lead + 1) % len(s.leads)
	s.leads[s.lead] = math.NaN()
	v := s.ago(0)
	if !v.steady || s.relations[0][1].n < strayKnown {
		return
	}
	var off [len(heated)][len(heated)]float64
	for a := range heated {
		for b := range heated {
			if a != b {
				off[a][b] = v.logs[a] - s.relations[a][b].at(v.logs[b])
			}
		}
	}
	const flue = len(heated) - 1
	s.leads[s.lead] = (off[flue][0] + off[flue][1]) / 2
	accused, most := -1, 0.0
	for c := 1; c < len(heated); c++ {
		if by := s.off(c, &off); by < most {
			accused, most = c, by
		}
	}
	for c := range heated {
		long := strayFor
		if c == flue {
			long = strayForFlue
		}
		if c != accused {
			s.since[c] = 0
		} else if s.since[c]++; s.since[c] >= long {
			s.found[c] = most
		}
		if s.found[c] == 0 {
			continue
		}
		// It is over when one of the others says so.
		for o := range heated {
			if o != c && float64(off[c][o]/s.found[c]) < strayBack && c != accused {
				s.found[c] = 0
				break
			}
		}
	}
}

// off is how far a probe has left both of its relations downwards, below zero; zero where it
// has not, or where something else may have. Too hot is a danger for as long as nobody knows
// better.
func (s *strays) off(c int, off *[len(heated)][len(heated)]float64) float64 {
	a, b := (c+1)%len(heated), (c+2)%len(heated)
	by := max(off[c][a], off[c][b])
	least := strayChamber
	if heated[c] == frame.Flue {
		if !s.othersHold(a, b) {
			return 0 // relations of flame do not hold over coals
		}
		chamber := s.ago(0).logs[c-1]
		if least = max(strayBlower, chamber-s.relations[c][c-1].at(chamber)); s.calmAir() {
			least = strayFlue
		}
	}
	if !(by <= -least) ||
		-off[c][a] < float64(strayUsual*s.relations[c][a].usual()) ||
		-off[c][b] < float64(strayUsual*s.relations[c][b].usual()) ||
		max(math.Abs(off[a][b]), math.Abs(off[b][a])) > float64(-strayOthers*by) ||
		!s.seen(a) || !s.seen(b) || heated[c] == frame.Flue && !s.goesEvenly() {
		return 0
	}
	return by
}

// seen reports whether a probe reads what it has read before, as far as that was learned.
func (s *strays) seen(c int) bool {
	r := &s.relations[(c+1)%len(heated)][c]
	x := s.ago(0).logs[c]
	return x >= r.low-strayBeyond && x <= r.high+strayBeyond
}

// othersHold reports whether two probes read no less than while the flue went away.
func (s *strays) othersHold(a, b int) bool {
	then := s.ago(min(3*strayStep, s.count-1))
	return s.ago(0).logs[a] >= then.logs[a]-strayHolds && s.ago(0).logs[b] >= then.logs[b]-strayHolds
}

// calmAir reports whether the warm air tells that blower and air did nothing since the
// relations were learned.
func (s *strays) calmAir() bool {
	low, high := math.Inf(1), math.Inf(-1)
	for i := range s.count {
		low, high = min(low, s.ago(i).air), max(high, s.ago(i).air)
	}
	return low > 0 && high-low <= float64(strayCalm*high)
}

// goesEvenly reports whether the flue has left its relations by even steps, and still does.
func (s *strays) goesEvenly() bool {
	at := func(steps int) float64 { return s.leads[(s.lead-steps*strayStep+len(s.leads))%len(s.leads)] }
	mean := (at(0) - at(3)) / 3
	if !(mean*at(0) > 0) { // towards zero
		return false
	}
	for i := range 3 {
		if !((at(i)-at(i+1))/mean >= strayEven) {
			return false
		}
	}
	return true
}
