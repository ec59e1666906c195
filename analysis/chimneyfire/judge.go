package chimneyfire

import (
	"math"
	"time"

	"fluewright/analysis/alarm"
	"fluewright/analysis/burn"
	"fluewright/analysis/frame"
)

const (
	sure     = 3.0              // evidence for a chimney fire: odds of 20 to 1
	certain  = 4.0              // this needs no second look
	doubtful = 1.5              // less than this speaks of none
	twice    = 2                // bins in a row that must be sure: what lasts ten seconds is no blip
	gusts    = 6                // and where the fire has burnt down: gusts may last longer than that
	burnt    = 0.95             // down is a flue below this share of the hottest in hours, in °C
	likely   = 2.2              // this will do, if the draft makes most of it
	drafts   = 1.9              // and goes on doing so until no reading is left of the first look:
	anew     = recent           // bins. Two looks that share nothing say twice as much
	over     = 12               // bins in a row without a sign, after which it is over: a minute
	longest  = 540              // bins, 45 min
	maxGap   = 15 * time.Minute // the longest silence behind which calm is still remembered
)

// Settings is what the judge may know of a site; the zero value knows nothing.
type Settings struct {
	// FlueLimit is the temperature that the flue should not exceed, °C; 0 for none.
	FlueLimit float64
}

// Inputs is one frame. NaN stands for no reading.
type Inputs struct {
	At     time.Duration
	Values frame.Values
	Phase  burn.Phase
	// DoorOpen says that a door is open, as far as the readings tell.
	DoorOpen bool
}

// Evidence is what speaks for a chimney fire and against it, in natural logarithms of
// odds by estimate. A part of which nothing is known is 0.
type Evidence struct {
	Rise     float64 // the collar climbs faster than a fire in the appliance makes it
	Level    float64 // it is hot enough
	Surge    float64 // the draft exceeds what the collar explains
	Roar     float64 // the column roars
	Upstream float64 // firebox and chamber do not explain it
	Hotter   float64 // it is hotter than they are
	Air      float64 // a door, or a draft that sags: more air, never above 0
}

// Score is the sum.
func (e Evidence) Score() float64 {
	return e.Rise + e.Level + e.Surge + e.Roar + e.Upstream + e.Hotter + e.Air
}

// Finding is what the judge makes of a frame.
type Finding struct {
	// Verdict is Blind without a flue reading.
	Verdict  alarm.Verdict
	Evidence Evidence
	// For is how long the verdict has been Present.
	For time.Duration
	// Rate is the collar's, K/s; Draft the draft's level, Explained what the collar
	// explains of it, Noise its mean step from second to second and Usual what that has
	// been, Pa. NaN where not known.
	Rate, Draft, Explained, Noise, Usual float64
}

// Judge follows one chimney. The zero value has seen nothing.
type Judge struct {
	settings Settings

	clock, last time.Duration // own clock, which never runs back
	started     bool

	gather    gather
	calm      calm
	custom    custom
	doored    int      // bins since a door was open or the draft sagged, 0 for never
	held      Evidence // evidence that fades slowly once it was seen
	suspected int      // bins since the first sign, 0 when there is none
	calmFor   int      // bins since the last one
	sureFor   int
	likelyFor int
	present   bool
	since     time.Duration
	found     Finding
}

// New returns a judge for a site.
func New(s Settings) Judge { return Judge{settings: s} }

// Step judges one frame. Time that stands or runs backwards counts as no time.
func (j *Judge) Step(in Inputs) Finding {
	dt := in.At - j.last
	if !j.started || in.At < j.last || dt < 0 {
		dt = 0
	}
	if !j.started || dt > maxGap {
		nan := math.NaN()
		*j = Judge{
			settings: j.settings, clock: j.clock, started: true,
			found: Finding{Verdict: alarm.Absent, Rate: nan, Draft: nan, Explained: nan, Noise: nan, Usual: nan},
		}
		dt = 0
	}
	j.last = in.At
	j.clock += dt
	j.gather.length += dt
	v := &in.Values
	flue := usable(v[frame.Flue])
	up := usable(v[frame.Chamber])
	if math.IsNaN(up) {
		up = usable(v[frame.Firebox])
	}
	if j.gather.length >= binLength {
		j.gather.length = 0
		j.gather.close(j.clock)
		j.judge(in)
	}
	j.gather.add(j.clock.Seconds(), flue, up, usable(v[frame.Draft]), usable(v[frame.Outdoor]))
	if math.IsNaN(flue) {
		// Nobody knows; a suspicion is kept, since the fire may have taken the probe.
		f := j.found
		f.Verdict = alarm.Blind
		return f
	}
	return j.found
}

// usable takes numbers that no chimney has for none.
func usable(v float64) float64 {
	if v > -5000 && v < 5000 {
		return v
	}
	return math.NaN()
}

// judge weighs the bins whenever one is closed.
func (j *Judge) judge(in Inputs) {
	if math.IsNaN(j.gather.back(0).flue) {
		return
	}
	if j.suspected == 0 {
		j.calm.learn(&j.gather)
	}
	now := j.look()
	e := j.weigh(in, now)
	score := e.Score()
	if j.suspected == 0 {
		j.custom.learn(&j.calm, now, score < doubtful)
	}
	j.gather.usual = j.usualNoise()
	j.found = Finding{Evidence: e, Rate: now.rate, Draft: now.level, Explained: now.explained, Noise: now.noise, Usual: j.usualNoise()}
	j.decide(score, e.Surge+e.Roar, max(now.flue, j.calm.peak) < float64(burnt*j.custom.flue))
}

// decide turns the score into a verdict with hysteresis. draft is the draft's share in it: a
// climb is remembered and is one look however long it counts. down says that the fire has burnt
// down: a deposit that did not catch from hotter gas can wait for a third look, and wind does
// then what only flames did before.
func (j *Judge) decide(score, draft float64, down bool) {
	counted := func(n int, holds bool) int {
		if !holds {
			return 0
		}
		return n + 1
	}
	j.sureFor, j.likelyFor = counted(j.sureFor, score >= sure), counted(j.likelyFor, score >= likely && draft >= drafts)
	lasts := j.likelyFor > anew
	// Until it is sure, what is seen is too young to be taken for calm anyway.
	if score >= sure || lasts || j.suspected > 0 {
		j.suspected++
		j.calmFor++
	}
	if score >= doubtful {
		j.calmFor = 0
	}
	needed := twice
	if down {
		needed = gusts
	}
	if !j.present && (j.sureFor >= needed || lasts || score >= certain && !down) {
		j.present, j.since = true, j.clock
	}
	if j.calmFor >= over || j.suspected > longest {
		// A chimney does not burn longer: what it is like now is the custom.
		j.suspected, j.calmFor, j.present, j.held = 0, 0, false, Evidence{}
	}
	j.gather.back(0).suspect = j.suspected > 0
	switch {
	case j.present:
		j.found.Verdict = alarm.Present
		j.found.For = j.clock - j.since
	case score >= doubtful:
		j.found.Verdict = alarm.Between
	default:
		j.found.Verdict = alarm.Absent
	}
}
