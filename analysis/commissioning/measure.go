package commissioning

import (
	"math"
	"slices"
	"time"

	"fluewright/analysis/burn"
	"fluewright/analysis/frame"
	"fluewright/analysis/settle"
)

const (
	longest  = 2 * time.Minute // between two frames that belong together
	warm     = 30.0            // K above the room: a fire or coals
	assumed  = 20.0            // °C, a room that is not read
	turned   = -0.5            // Pa: the draft is reversed
	spilling = 20.0            // s with the draft turned beside a fire
	hardly   = 0.5             // Pa: as good as none, beside a flue that is so much above the room, K, for so long, s
	hot      = 60.0
	weak     = 60.0
	absurd   = 500.0  // Pa and more are no draft
	noProbe  = 1500.0 // °C and more are no temperature here
	coldest  = -70.0
	thinAir  = 50e3 // Pa
	denseAir = 110e3
)

// hotFlue is too hot for more draft, °C: what chimneys are made for continuously, 538 °C
// (UL 103), less what a gate held shut may add (judgement).
const hotFlue = 400.0

// Step takes a frame.
func (s *State) Step(l Look) {
	v := l.Values
	for c := range v {
		ch := frame.Channel(c)
		switch in := v[c]; {
		case math.IsNaN(in):
		case ch == frame.Ambient && !(in > thinAir && in < denseAir),
			ch == frame.Draft && !(math.Abs(in) < absurd),
			!ch.Pressure() && !(in > coldest && in < noProbe):
			v[c] = math.NaN()
		}
	}
	s.latest, s.seen = v, true
	s.weather(&v)
	s.fire = s.judgeFire(&v, l.Phase)
	w := &s.Watch
	dt := l.At - w.Last
	gap := !w.Begun || dt < 0 || dt > longest
	w.Last, w.Begun = l.At, true
	if !s.Running {
		return
	}
	if gap {
		if s.Task == LightFire {
			return // the clock of the fire goes on: see Resume
		}
		fresh := Measuring{Last: l.At, Begun: true}
		if w.Elapsed > 0 {
			*w = fresh
		}
		return
	}
	w.Elapsed += dt.Seconds()
	l.Values = v
	s.measure(&l, dt.Seconds())
}

// Resume says that frames were missed for a time, by a restart or a pause; away is how long
// that was, 0 where nobody knows. What was being measured begins anew, but for the clock of
// the first fire, which goes on.
func (s *State) Resume(away time.Duration) {
	s.seen, s.fire = false, FireUnknown
	if s.Running && s.Task == LightFire {
		s.Watch.Elapsed += max(0, away.Seconds())
		s.Watch.Begun = false
		return
	}
	s.Watch = Measuring{}
}

// weather keeps what the air was last seen to be.
func (s *State) weather(v *frame.Values) {
	if o := v[frame.Outdoor]; o > -60 && o < 55 {
		s.Air.Outdoor, s.Air.Measured = o, true
	}
	if r := v[frame.Room]; r > -40 && r < 60 {
		s.Air.Room, s.Air.RoomSeen = r, true
	}
	if v.Has(frame.Ambient) {
		s.Air.Pressure = v[frame.Ambient]
	}
}

// judgeFire returns what the frame says of the fire: a warm flue is one, or its coals.
func (s *State) judgeFire(v *frame.Values, phase burn.Phase) Fire {
	room := assumed
	if s.Air.RoomSeen {
		room = s.Air.Room
	}
	switch {
	case phase.Fire() || phase == burn.Coals:
		return Burning
	case !v.Has(frame.Flue):
		return FireUnknown
	case v[frame.Flue]-room >= warm:
		return Burning
	}
	return NoFire
}

// measure gathers for the task that runs.
func (s *State) measure(l *Look, dt float64) {
	if slices.Contains([]Task{ZeroDraft, CompareCold, ReadCold, ReadFans}, s.Task) && s.fire == Burning {
		s.ask(s.Task) // somebody has lit it: not now
		return
	}
	if s.Task == LightFire || slices.Contains(burning, s.Task) {
		if s.spills(l, dt) {
			return
		}
	}
	switch s.Task {
	case ZeroDraft:
		s.zero(l, dt)
	case BlowHose:
		s.blow(l, dt)
	case CompareCold:
		s.agree(l, dt)
	case WarmProbe:
		s.probe(l, dt)
	case ReadCold, ReadFans:
		s.cold(l)
	case LightFire:
		s.light(l, dt)
	case ReadMark:
		s.read(l, dt)
	case VerifyLow, VerifyHigh:
		s.verify(l, dt)
	case ReadFree, HoldGate:
		s.hold(l, dt)
	case ReleaseGate, ShutDoor:
		s.returns(l, dt)
	case OpenDoor:
		s.door(l, dt)
	}
}

// spills reports, and writes down, that the draft has turned while a fire burns, or that
// there is none beside a hot flue, whose gas then finds another way: whatever is being
// measured ends with that.
func (s *State) spills(l *Look, dt float64) bool {
	w, d := &s.Watch, l.Values[frame.Draft]
	if math.IsNaN(d) || s.fire == NoFire {
		return false
	}
	w.Smooth += float64((d - w.Smooth) * min(1, dt/gustWidth))
	if w.Smooth < turned {
		w.Turned += dt
		s.Moments.Reversed += dt
	} else {
		w.Turned = 0
	}
	if w.Smooth < hardly && l.Values[frame.Flue]-s.air().Room >= hot { // false without a flue
		w.Weak += dt
	} else {
		w.Weak = 0
	}
	switch {
	case w.Turned >= spilling:
		s.add(found("spillage", Stop).value(Pascals, w.Smooth))
	case w.Weak >= weak:
		s.add(found("no-draw", Stop).value(Pascals, w.Smooth))
	default:
		return false
	}
	s.conclude()
	return true
}

// Progress is how far the measurement under way has come, for a live picture.
type Progress struct {
	Elapsed   float64     // s since ready
	Draft     settle.Mean // of the latest stretch; the zero Mean: too early
	Settled   bool        // draft
	Flue      settle.Mean // of the drive, Pa/m
	FlueStill bool
	Inside    int // minutes in succession within the band, when verifying
}

// Progress returns how far the measurement has come.
func (s *State) Progress() Progress {
	p := Progress{Elapsed: s.Watch.Elapsed, Inside: s.Watch.Inside}
	p.Draft, p.Settled = s.Watch.Draft.Steady(s.tolerance())
	p.Flue, p.FlueStill = s.Watch.Drive.Steady(float64(driveTolerance * max(s.Watch.Flue.Value, 1)))
	return p
}

// tolerance is how far the draft's trend may go over a stretch for it to count as settled,
// Pa: a tenth of what is specified, half a pascal at least, which is what a draft gauge
// resolves.
func (s *State) tolerance() float64 { return max(0.5, float64(0.1*s.Site.Specified())) }

// driveTolerance is the same for the drive, as a share. By the exponent of a working gate,
// 0.2, a tenth of the drive is a fiftieth of the draft.
const driveTolerance = 0.1
