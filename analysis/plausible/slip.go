package plausible

import (
	"math"
	"time"

	"fluewright/analysis/frame"
	"fluewright/analysis/signal"
)

// A probe that slips out of its hole, or that wood or ash covers, loses a good part of its
// rise over the room while its neighbours in the same gas and the draft go on as before.
// An open door, wood laid on and a fire that dies show on all of them.
const (
	slipRise     = 60.0 // K over the room before
	slipLeft     = 0.68 // of the rise is left after 3 min, in which a fan takes at most a quarter
	slipFirebox  = 0.50 // of it, where the firebox alone is beside it
	settled      = 6    // marks: 3 min
	slipAgo      = 12
	slipBefore   = 18
	slipUsual    = 0.70 // of the usual share of the neighbour's rise
	usualRise    = 150.0
	usualUp      = 2 * time.Hour // a fire in the flue is no usual share,
	usualDown    = 15 * time.Minute
	usualFrom    = 10 * time.Minute
	neighbours   = 0.85 // of theirs is left all the time
	neighboursUp = 1.10 // more of it may be the danger: a fire in the flue, air from a door
	bendMost     = 0.05 // of their rise, from one 3 min to the next
	lostLeft     = 0.65 // of the rise before and of the usual share: beside a fire that grows
	lostKnown    = 45 * time.Minute
	lostHolds    = 0.95
	draftLeft    = 0.75
	draftUp      = 1.15 // more may be a fire in the flue
	aloneMarks   = 8    // 4 min
	aloneRise    = 100.0
	aloneLeft    = 0.36 // a furnace with its fan on keeps 1/e
	aloneFlat    = 2    // marks
	aloneBack    = 0.7
	aloneMoves   = 0.06 // of the rise before
	slipBack     = 0.90 // of the share that it had of its neighbour's rise
	slipBackFor  = 2 * time.Minute
	slipCold     = 60.0 // K over the room of the neighbour: nothing to compare with
	airKept      = 0.95 // of the warm air's rise: then as much heat goes to it as before,
	shutLeft     = 0.9  // or the share must be less than this of what shut air leaves
)

// slip is one probe that lost its place.
type slip struct {
	out    bool
	alone  bool          // there was nothing to compare with
	beside frame.Channel // compared with
	share  float64       // of its rise, before; alone: its own rise
	back   time.Duration
	cold   time.Duration
}

// shares are what each gas channel's rise is of each other's, as a rule.
type shares [len(heated)][len(heated)]struct {
	share float64
	known time.Duration
}

// learn takes a mark.
func (r *Rules) learn(found *Findings) {
	now := r.trail.ago(0)
	for _, c := range heated {
		for _, o := range heated {
			rise, beside := now[c]-r.room, now[o]-r.room
			if c == o || r.distrusted(c, found) || r.distrusted(o, found) || !(rise > 0 && beside >= usualRise) || c == frame.Flue && rise > beside {
				continue
			}
			s := &r.shares[c][o]
			s.known += mark
			over := usualUp
			switch {
			case s.known <= usualFrom:
				over = s.known - mark // the plain mean
			case rise/beside < s.share:
				over = usualDown
			}
			s.share = signal.Toward(s.share, rise/beside, mark, over)
		}
	}
}

// slipped finds probes that read far too low beside the others.
func (r *Rules) slipped(in Inputs, dt time.Duration, marked bool, found *Findings) {
	for _, c := range heated {
		s := &r.slips[c]
		if !in.Values.Has(c) || Distrusts(found[c]) {
			continue
		}
		if s.out {
			s.follow(dt, r.courses[c].level-r.room, r.rise(s.beside, &in, found))
		} else if marked {
			*s = r.slipping(c, found)
		}
		if s.out {
			code := ProbeCovered
			if c == frame.Flue {
				code = ProbeSlipped
			}
			found.add(c, code)
		}
	}
	if marked {
		r.learn(found)
	}
}

// follow ends a slip when the probe has its share again, or when the fire is out.
func (s *slip) follow(dt time.Duration, rise, beside float64) {
	if s.alone { // its own rise is all there is
		s.back = lasting(s.back, dt, rise >= float64(aloneBack*s.share))
		s.cold = lasting(s.cold, dt, rise < near)
	} else {
		s.back = lasting(s.back, dt, rise >= float64(slipBack*s.share*beside))
		s.cold = lasting(s.cold, dt, beside < slipCold)
	}
	if s.back >= slipBackFor || s.cold >= agreement {
		*s = slip{}
	}
}

// slipping compares the latest marks: a fall between slipAgo and settled ago, and the time
// before and after.
func (r *Rules) slipping(c frame.Channel, found *Findings) slip {
	// The firebox is cooled by wood that is laid on: one other probe is not enough.
	if c == frame.Firebox && !(r.courses[frame.Chamber].recent() && r.courses[frame.Flue].recent()) {
		return slip{}
	}
	if r.trail.count <= slipBefore || !r.draftStays() || r.courses[frame.Draft].recent() && r.draft.surge < surgedFor {
		return slip{}
	}
	_, after := r.trail.bounds(c, settled)
	before := r.trail.ago(slipAgo)[c] - r.room
	after -= r.room
	if !(before >= slipRise && after <= float64(slipLeft*before)) || c == frame.Flue && r.burntBehind() {
		return slip{}
	}
	beside := frame.Count
	for _, o := range heated {
		if o == c || !r.courses[o].recent() || r.distrusted(o, found) {
			continue
		}
		if !r.goesOn(o, c) && !r.fallsBehind(o, c, before, after) {
			return slip{}
		}
		beside = o
	}
	if beside == frame.Count {
		return r.slippingAlone(c)
	}
	if beside == frame.Firebox && after > float64(slipFirebox*before) {
		return slip{} // its brick alone hardly feels the air that is shut
	}
	usual, other := r.shares[c][beside], r.trail.ago(0)[beside]-r.room
	if usual.known < usualFrom || after > float64(slipUsual*usual.share*other) {
		return slip{}
	}
	if c == frame.Flue && after > float64(shutLeft*usual.share*usual.share*other) && !r.airStays() {
		return slip{}
	}
	return slip{out: true, beside: beside, share: min(usual.share, before/(r.trail.ago(slipAgo)[beside]-r.room))}
}

// airStays reports whether the warm air is as warm as before the fall, and so the fire has its
// air: with that shut, a quarter of the gas leaves more of its heat, which doubles the
// transfer units at most, and the chamber hardly feels it for long.
func (r *Rules) airStays() bool {
	now, before := r.trail.mean(frame.Plenum, 0, 2)-r.room, r.trail.mean(frame.Plenum, slipAgo, slipBefore)-r.room
	return before >= leftWarm && now >= float64(airKept*before)
}

// goesOn reports whether a neighbour took no notice when the probe c fell. Air that was
// shut, a door and wood bend its course, a probe that slips does not.
func (r *Rules) goesOn(o, c frame.Channel) bool {
	t := &r.trail
	was := t.ago(slipAgo)[o] - r.room
	low, high := t.bounds(o, slipAgo)
	if !(was >= slipRise && low-r.room >= float64(neighbours*was)) {
		return false
	}
	after, during, before := t.ago(0)[o]-t.ago(settled)[o], t.ago(settled)[o]-t.ago(slipAgo)[o], t.ago(slipAgo)[o]-t.ago(slipBefore)[o]
	bend := max(math.Abs(after-before), math.Abs(during-float64((after+before)/2)))
	if !(bend <= float64(bendMost*was)) {
		return false
	}
	if c == frame.Flue || c == frame.Chamber && o == frame.Firebox {
		return true // what makes it hotter upstream does not cool this probe
	}
	return high-r.room <= float64(neighboursUp*was)
}

// fallsBehind reports whether the flue fell far beside a neighbour that held or went on
// growing, whose course may bend as it likes: no fire upstream does that. A bypass flap that
// shuts does, hence the share that the flue usually has of that neighbour's rise, which was
// learned for long and with the flap shut.
func (r *Rules) fallsBehind(o, c frame.Channel, before, after float64) bool {
	t, usual := &r.trail, r.shares[c][o]
	was, now := t.ago(slipAgo)[o]-r.room, t.ago(0)[o]-r.room
	low, _ := t.bounds(o, slipAgo)
	return c == frame.Flue && was >= slipRise && low-r.room >= float64(lostHolds*was) && usual.known >= lostKnown &&
		after <= float64(lostLeft*min(before, float64(usual.share*now)))
}

// slippingAlone is for a flue's probe with nothing beside it but the draft: it fell by more
// than a furnace can, and stays where it is, as nothing does that cools.
func (r *Rules) slippingAlone(c frame.Channel) slip {
	if c != frame.Flue || r.trail.count <= aloneMarks || !r.courses[frame.Draft].recent() ||
		r.courses[frame.Chamber].recent() || r.courses[frame.Firebox].recent() {
		return slip{}
	}
	before, now := r.trail.ago(aloneMarks)[c]-r.room, r.trail.ago(0)[c]-r.room
	if before >= aloneRise && now >= near && now <= float64(aloneLeft*before) && r.moved(c, aloneFlat) <= float64(aloneMoves*before) {
		return slip{out: true, alone: true, share: before}
	}
	return slip{}
}

// draftStays reports whether the draft of the last minutes is that of the time before, as
// it is not with a door open or when a fire in the flue is over; a site without a draft
// sensor has no say in it.
func (r *Rules) draftStays() bool {
	now, before := r.trail.mean(frame.Draft, 0, settled), r.trail.mean(frame.Draft, slipAgo, marks)
	return !(now < float64(draftLeft*before)-weak || now > float64(draftUp*before)+weak)
}
