package notice

import (
	"math"
	"time"

	"fluewright/analysis/burn"
	"fluewright/analysis/frame"
)

// How long things last before they are worth a notice.
const (
	// smoulderFor is after the phase has been entered, for which it was cool for 10 min.
	smoulderFor = 30 * time.Minute
	// wetFor leaves a steel chimney time to warm up; masonry takes hours and is wet
	// meanwhile, which is worth knowing.
	wetFor = 45 * time.Minute
	// slow is common practice, no source: 60 to 75 min are usual to a stack with nothing to
	// see, beyond 90 min something is set wrong.
	slow     = 90 * time.Minute
	coalsFor = 15 * time.Minute
)

const (
	// typicalMargin is how far below the dew point the wall of a chimney has to be that is
	// only assumed, K.
	typicalMargin = -10.0
	// spentFlue is the flue's rise over the room, as a share of the burn's best, at which
	// the coals give little.
	spentFlue = 0.35
	// cooler is how far the house's air must have fallen since its best in the burn, K.
	cooler = 0.5
	// warmAir is the plenum at which a blower usually starts, °C, common practice, no
	// source: above it the house still gets heat.
	warmAir = 41.0
	// mild is outdoor air in which no house asks for more, °C (judgement).
	mild = 15.0
	// assumedRoom is taken where there is no room reading, °C.
	assumedRoom = 20.0
	// maxGap is the longest time between two frames that counts.
	maxGap = 10 * time.Minute
)

// Inputs are a frame after the tracker has taken it.
type Inputs struct {
	At      time.Duration
	Values  frame.Values
	Tracker *burn.Tracker
	Changes burn.Changes // what its Step returned
}

// Judge gives the notices of one furnace. The zero value has seen nothing; Upkeep may be
// set from what was kept.
type Judge struct {
	Upkeep Upkeep

	last    time.Duration
	started bool
	wet     time.Duration
	// What was told of the load, and of the burn.
	smoulder               bool
	condensing, slow, load bool

	given [jobCount + 5]Notice
}

// Step takes a frame and returns the notices given with it. The slice is the judge's own,
// valid until the next step.
func (j *Judge) Step(in Inputs) []Notice {
	dt := j.clock(&in)
	t, ch := in.Tracker, in.Changes
	out := j.given[:0]
	give := Notice{At: in.At}

	if ch.Ended || !t.Phase.Fire() {
		j.wet, j.condensing, j.slow, j.load = 0, false, false, false
	}
	if ch.Loaded || ch.Ended {
		j.smoulder = false
	}
	if ch.From.Fire() && ch.To == burn.Cold {
		give.Name, give.For = FireOut, max(0, t.Finished.End-t.Finished.Start)
		out = append(out, give)
	}
	if !t.Phase.Fire() {
		return out
	}
	lasted := max(0, in.At-t.Since)
	if t.Phase == burn.Smoulder && lasted >= smoulderFor && once(&j.smoulder) {
		give.Name, give.For = Smoulder, lasted
		out = append(out, give)
	}
	if j.condenses(t, dt) && once(&j.condensing) {
		give.Name, give.For = Condensing, j.wet
		out = append(out, give)
	}
	if since := in.At - t.Burn.Start; t.Burn.Kind == burn.ColdStart && t.Burn.Clean.How == burn.NotKnown &&
		t.Phase != burn.Coals && since >= slow && once(&j.slow) {
		give.Name, give.For = SlowStart, since
		out = append(out, give)
	}
	if t.Phase == burn.Coals && lasted >= coalsFor && asks(&in) && once(&j.load) {
		give.Name, give.For = ReloadDue, lasted
		out = append(out, give)
	}
	return j.upkeep(out, give, t, dt)
}

// clock makes time that never runs backwards.
func (j *Judge) clock(in *Inputs) time.Duration {
	switch {
	case !j.started:
		j.started, j.last = true, in.At
		return 0
	case in.At <= j.last:
		in.At = j.last
		return 0
	}
	dt := in.At - j.last
	j.last = in.At
	if dt < 0 || dt > maxGap { // below zero: overflow
		return 0
	}
	return dt
}

// once is true the first time.
func once(told *bool) bool {
	first := !*told
	*told = true
	return first
}

// condenses follows how long the wall has been wet. Coals give no water.
func (j *Judge) condenses(t *burn.Tracker, dt time.Duration) bool {
	_, m, ok := t.Wall()
	if !ok {
		return false
	}
	dry := 0.0
	if t.Burn.Creosote.Typical {
		dry = typicalMargin
	}
	if t.Phase == burn.Coals || m.Water >= dry {
		j.wet = 0
		return false
	}
	j.wet += dt
	return j.wet >= wetFor
}

// asks reports whether the coals give little and the house gets cooler. It takes a reading
// of the house's air; without one nobody knows.
func asks(in *Inputs) bool {
	v, b := &in.Values, &in.Tracker.Burn
	if _, rises := in.Tracker.Rise(); rises || v[frame.Outdoor] >= mild || v[frame.Plenum] >= warmAir {
		return false
	}
	room := v.Or(frame.Room, assumedRoom)
	if !(v[frame.Flue]-room < float64(spentFlue*(b.PeakFlue-room))) {
		return false
	}
	house := frame.Return
	if !v.Has(house) {
		house = frame.Room
	}
	return v[house] <= b.Peaks[house].Value-cooler // NaN: not known
}

func (j *Judge) upkeep(out []Notice, give Notice, t *burn.Tracker, dt time.Duration) []Notice {
	_, m, ok := t.Wall()
	smokes := t.Phase == burn.Lighting || t.Phase == burn.WarmUp || t.Phase == burn.Smoulder
	j.Upkeep.burn(dt, ok && smokes && m.Tar < 0)
	for _, job := range [...]Job{Ash, Flue, Probes} {
		if j.Upkeep.Due(job) && once(&j.Upkeep.Told[job]) {
			give.Name, give.Job = UpkeepDue, job
			give.For = hours(j.Upkeep.Burnt[job])
			out = append(out, give)
		}
	}
	return out
}

// hours turns hours into a duration that does not overflow.
func hours(h float64) time.Duration {
	return time.Duration(math.Min(h, 1e6) * float64(time.Hour))
}
