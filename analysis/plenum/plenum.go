package plenum

import (
	"math"
	"time"

	"fluewright/analysis/alarm"
	"fluewright/analysis/burn"
	"fluewright/analysis/frame"
)

// DefaultLimit is what the plenum's air should not exceed, °C: 200 °F, as limit controls of
// such furnaces are set (from memory, common practice).
const DefaultLimit = 93.3

const (
	limitMargin = 10.0             // K below the limit that leave room to spare
	assumedRoom = 20.0             // °C, where there is neither return nor room
	maxGap      = 10 * time.Minute // the longest silence over which the course is followed
)

// Settings is what the judge may know of a site.
type Settings struct {
	// Limit is the plenum's limit, °C; 0 for DefaultLimit.
	Limit float64
}

// Inputs is one frame. NaN stands for no reading.
type Inputs struct {
	At     time.Duration
	Values frame.Values
	Phase  burn.Phase
}

// Flow says whether the blower moves air.
type Flow uint8

// The answers.
const (
	Unknown Flow = iota
	Still
	Moving
)

var flows = [...]string{"unknown", "still", "moving"}

// String returns the answer as outputs write it.
func (f Flow) String() string {
	if int(f) < len(flows) {
		return flows[f]
	}
	return flows[Unknown]
}

// Finding is what the judge makes of a frame.
type Finding struct {
	// Overheat compares the plenum's air with Limit, °C; Blind without a reading.
	Overheat alarm.Verdict
	// Stopped is whether the plenum shows that the blower stands still over a fire that
	// should have started it; Blind without a reading.
	Stopped alarm.Verdict
	// Air is the plenum's temperature without single wild readings and Limit what it
	// should not exceed, °C; Air is NaN without a reading.
	Air, Limit float64
	// Flow is what the plenum's course tells of the blower.
	Flow Flow
	// FanOn and FanOff are the air temperatures at which the blower was last seen to
	// start and to stop, °C; NaN until seen.
	FanOn, FanOff float64
	// Starts is how often the blower was seen to start within the last hour.
	Starts int
}

// Judge follows one plenum. The zero value has seen nothing and has the default limit.
type Judge struct {
	settings Settings

	clock, last time.Duration // own clock, which never runs back
	started     bool

	spikes spikes
	course course
	blower blower
}

// New returns a judge for a site.
func New(s Settings) Judge { return Judge{settings: s} }

// Step judges one frame. Time that stands or runs backwards counts as no time.
func (j *Judge) Step(in Inputs) Finding {
	dt := in.At - j.last
	if !j.started || in.At < j.last || dt < 0 {
		dt = 0
	}
	j.last, j.started = in.At, true
	if dt > maxGap {
		j.course, j.spikes = course{}, spikes{}
		j.blower.lose()
		dt = maxGap
	}
	j.clock += dt

	v := &in.Values
	air := usable(v[frame.Plenum])
	cold := usable(v[frame.Return])
	if math.IsNaN(cold) {
		cold = usable(v[frame.Room])
	}
	if math.IsNaN(cold) {
		cold = assumedRoom
	}
	upstream := usable(v[frame.Chamber])
	if math.IsNaN(upstream) {
		upstream = usable(v[frame.Firebox])
	}
	if j.course.step(dt) {
		j.blower.step(&j.course, in.Phase, j.clock)
	}
	if !math.IsNaN(air) {
		air = j.spikes.step(air)
	}
	j.course.add(air, cold, [2]float64{usable(v[frame.Flue]), upstream})
	return j.find(air)
}

func (j *Judge) find(air float64) Finding {
	f := Finding{Air: air, Limit: j.settings.Limit, FanOn: math.NaN(), FanOff: math.NaN()}
	if !(f.Limit > 0) {
		f.Limit = DefaultLimit
	}
	b := &j.blower
	f.Flow, f.Starts = b.flow, b.starts.within(j.clock)
	if b.on.seen {
		f.FanOn = b.on.value
	}
	if b.off.seen {
		f.FanOff = b.off.value
	}
	if math.IsNaN(air) {
		f.Flow = Unknown
		return f
	}
	switch {
	case air > f.Limit:
		f.Overheat = alarm.Present
	case air > f.Limit-limitMargin:
		f.Overheat = alarm.Between
	default:
		f.Overheat = alarm.Absent
	}
	f.Stopped = b.verdict
	if f.Stopped == alarm.Blind {
		f.Stopped = alarm.Absent
	}
	return f
}

// usable takes numbers that no furnace has for none.
func usable(v float64) float64 {
	if v > -100 && v < 2500 {
		return v
	}
	return math.NaN()
}

// spikes passes a channel on without single wild readings.
type spikes struct {
	last [2]float64
	n    int
}

func (s *spikes) step(v float64) float64 {
	a, b := s.last[0], s.last[1]
	s.last = [2]float64{b, v}
	if s.n < 2 {
		s.n++
		return v
	}
	return max(min(a, b), min(max(a, b), v))
}
