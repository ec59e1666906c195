package commissioning

import (
	"math"
	"slices"

	"fluewright/analysis/frame"
)

// Judgement of the sensors. A sound differential sensor's zero is several times better than
// zeroGood; the rest is judgement, no source.
const (
	zeroTime   = 60.0 // s
	zeroGood   = 0.5  // Pa
	zeroSpread = 0.3  // Pa, standard deviation in still air
	breath     = 3.0  // Pa: a breath into a hose makes tens
	back       = 0.7  // Pa from where it was
	patience   = 60.0 // s for the breath, and for the return
	baseTime   = 5.0  // s
	agreeTime  = 10.0 // s
	agreeGood  = 8.0  // K from the room, in a cold appliance
	agreeBad   = 20.0 // K
	warmed     = 3.0  // K that a hand or a lighter makes at least
	bystander  = 1.5  // K that another probe may move meanwhile
	warmTime   = 180.0
)

func (s *State) zero(l *Look, dt float64) {
	w := &s.Watch
	w.Mean.add(l.Values[frame.Draft], dt)
	if w.Elapsed < zeroTime {
		return
	}
	m, spread := w.Mean.Value, w.Mean.spread()
	switch {
	case w.Mean.Held < zeroTime/2:
		s.add(found("draft-lost", Bad))
	case spread > zeroSpread:
		s.add(found("zero-restless", Bad).value(Pascals, spread).against(zeroSpread))
	case math.Abs(m) > zeroGood:
		s.add(found("zero-off", Bad).value(Pascals, m).against(zeroGood))
	default:
		s.add(found("zero", Good).value(Pascals, m).within90(spread / math.Sqrt(w.Mean.Held)))
	}
	s.onward()
}

// blow waits for a breath in the hose, and for the draft to come back after it.
func (s *State) blow(l *Look, dt float64) {
	w, v := &s.Watch, l.Values[frame.Draft]
	switch {
	case !w.HasBase:
		w.Base.add(v, dt)
		if w.Base.Held >= baseTime {
			w.HasBase, w.Elapsed = true, 0
		} else if w.Elapsed > patience {
			s.add(found("draft-lost", Bad))
			s.onward()
		}
	case !w.Moved:
		if off := math.Abs(v - w.Base.Value); off >= breath {
			w.Moved, w.Elapsed, w.Mean.Value = true, 0, off
		} else if w.Elapsed > patience {
			s.add(found("hose-dead", Bad).against(breath))
			s.onward()
		}
	default:
		off := math.Abs(v - w.Base.Value)
		if off <= back+float64(2*w.Base.spread()) {
			w.Calm += dt
		} else {
			w.Calm = 0
			if off > w.Mean.Value {
				w.Mean.Value = off
			}
		}
		switch {
		case w.Calm >= baseTime:
			s.add(found("hose", Good).value(Pascals, w.Mean.Value))
			s.onward()
		case w.Elapsed > patience:
			s.add(found("hose-no-return", Bad).value(Pascals, v).against(w.Base.Value))
			s.onward()
		}
	}
}

// insideAppliance are the probes that a cold appliance keeps near the room.
var insideAppliance = []frame.Channel{frame.Firebox, frame.Chamber, frame.Flue, frame.Plenum, frame.Return}

// agree holds the temperatures of a cold appliance against the room, or against their
// median where the room is not read.
func (s *State) agree(l *Look, dt float64) {
	w := &s.Watch
	for c, v := range l.Values {
		if ch := frame.Channel(c); !ch.Pressure() && !math.IsNaN(v) {
			w.Before[c] += float64(v * dt)
		}
	}
	w.Mean.Held += dt
	if w.Mean.Held < agreeTime {
		return
	}
	var read []float64
	for _, c := range insideAppliance {
		if l.Values.Has(c) {
			read = append(read, w.Before[c]/w.Mean.Held)
		}
	}
	slices.Sort(read)
	if len(read) == 0 {
		s.add(found("no-temperatures", Bad))
		s.onward()
		return
	}
	room := read[len(read)/2]
	if l.Values.Has(frame.Room) {
		room = w.Before[frame.Room] / w.Mean.Held
	}
	sound := true
	for _, c := range insideAppliance {
		if !l.Values.Has(c) {
			continue
		}
		v := w.Before[c] / w.Mean.Held
		off, grade := math.Abs(v-room), Caution
		if off <= agreeGood {
			continue
		}
		if off > agreeBad {
			grade = Bad
		}
		sound = false
		s.add(found(Code("disagrees-"+c.String()), grade).value(Celsius, v).against(room))
	}
	if sound {
		s.add(found("agree", Good).value(Count, float64(len(read))))
	}
	s.onward()
}

// warmedOnes are the probes that are warmed, one after the other.
var warmedOnes = []frame.Channel{frame.Flue, frame.Chamber, frame.Firebox}

// probe waits for the probe that is warmed to rise: a fall is a thermocouple with its wires
// the wrong way round, another that rises instead is on the wrong terminals.
func (s *State) probe(l *Look, dt float64) {
	w, c := &s.Watch, s.Channel
	if !w.HasBase {
		w.Mean.Held += dt
		if w.Mean.Held >= baseTime {
			for i, v := range l.Values {
				w.Before[i] = 0
				if !math.IsNaN(v) && !frame.Channel(i).Pressure() {
					w.Before[i] = v
				}
			}
			w.HasBase, w.Elapsed = true, 0
		}
		return
	}
	if !l.Values.Has(c) {
		if w.Elapsed > warmTime {
			s.probed("lost-", Bad, 0)
		}
		return
	}
	rise := l.Values[c] - w.Before[c]
	other := 0.0
	for _, o := range warmedOnes {
		if o != c && l.Values.Has(o) && w.Before[o] != 0 {
			other = max(other, l.Values[o]-w.Before[o])
		}
	}
	switch {
	case rise >= warmed && rise > other:
		s.probed("probe-", Good, rise)
	case rise <= -warmed:
		s.probed("reversed-", Bad, rise)
	case other >= warmed && rise < bystander:
		s.probed("exchanged-", Bad, other)
	case w.Elapsed > warmTime:
		s.probed("unmoved-", Bad, rise)
	}
}

// probed writes down what came of a probe and goes to the next that reads.
func (s *State) probed(code string, g Grade, rise float64) {
	s.add(found(Code(code+s.Channel.String()), g).value(Kelvin, rise))
	next := slices.Index(warmedOnes, s.Channel) + 1
	for ; next < len(warmedOnes); next++ {
		if s.latest.Has(warmedOnes[next]) {
			s.ask(WarmProbe)
			s.Channel = warmedOnes[next]
			return
		}
	}
	s.onward()
}
