package spillage

import (
	"math"
	"time"

	"fluewright/analysis/alarm"
	"fluewright/analysis/burn"
	"fluewright/analysis/frame"
	"fluewright/analysis/signal"
)

const (
	turned  = 0.25 // Pa: zero, and what a pressure sensor's zero may be off
	certain = 0.1  // Pa: as little as a good sensor's zero is off
	margin  = 1.0  // Pa above turned that leaves room to spare
	pushing = -1.0 // Pa: the chimney pushes
	counted = 1.5  // Pa: more draft than that, either way, is worth no more than this
	back    = 0.45 // Pa of the slow average: the chimney draws again
	drawing = 1.1  // Pa of the quick average: it certainly does

	// A cold chimney in still air draws by a few tenths of a pascal, and a sensor's zero may
	// be off by as much. Between certain and turned the draft must have been for so long,
	// over a fire: with the averages before and the alarm's hold time behind it a person is
	// told within a minute and a half (judgement).
	doubtless = 40 * time.Second

	quick     = 6 * time.Second
	slow      = 12 * time.Second
	coalsFor  = time.Hour
	doorSoon  = 50 * time.Second // so long may it be one that is likely: a person must be told in time
	doorTakes = 1.0              // Pa
	doorFor   = 3 * time.Minute  // whoever lays on wood is done by then
	maxGap    = 2 * time.Minute  // the longest silence over which an average is carried on

	warmFlue = 60.0 // K over the room: a chimney with such gas in it draws (common practice, no source)
)

// Inputs is one frame. NaN stands for no reading.
type Inputs struct {
	At     time.Duration
	Values frame.Values
	Phase  burn.Phase
	// DoorOpen says that a door is open, as far as the readings tell: the room's air
	// rushes in and takes the draft down to nothing without turning it. It is believed for 3 min.
	DoorOpen bool
	// DoorLikely says that the draft may have gone because a door was opened.
	DoorLikely bool
}

// Finding is what the judge makes of a frame.
type Finding struct {
	// Verdict is Blind without a draft, or where nothing tells whether there is a fire.
	// While the reading is doubtful, or has not been low enough for long enough for a
	// sensor's zero not to make it, it is Between at most.
	Verdict alarm.Verdict
	// Draft is the draft against flutter, Pa, with no more than 1.5 Pa counted either way
	// of the zero; NaN without a reading.
	Draft float64
	// Turned says that the draft is at or below zero, fire or not.
	Turned bool
	// Fire says that something burns or glows.
	Fire bool
	// Cold says that the flue is not warm yet: the chimney has to be warmed.
	Cold bool
	// Doubtful says that the hose may have come off or be blocked: the reading fell
	// silent about zero while the gas stayed as it was. It is said for 40 s at most, for
	// so long it takes to know; a danger that may be one is not kept back for longer.
	Doubtful bool
}

// Judge follows one chimney. The zero value has seen nothing.
type Judge struct {
	last    time.Duration
	started bool

	has        bool
	sinceDraft time.Duration
	previous   [2]float64
	fast, calm float64
	turned     bool
	low        time.Duration // turned over a fire, give or take the sensor's zero
	sure       bool          // it is the draft, and not the sensor's zero

	fire  fire
	coals time.Duration // so much longer may coals glow unseen
	shut  time.Duration // the last frame with the doors shut
	quiet quiet
}

// Step judges one frame. Time that stands or runs backwards counts as no time.
func (j *Judge) Step(in Inputs) Finding {
	dt := in.At - j.last
	if !j.started || in.At < j.last || dt < 0 {
		dt = 0
	}
	j.last, j.started = in.At, true

	v := &in.Values
	for c := range v {
		if !(v[c] > -5000 && v[c] < 5000) && frame.Channel(c) != frame.Ambient {
			v[c] = math.NaN()
		}
	}
	burning, known := j.fire.step(in, dt, j.turned)
	burning = j.outlives(burning, dt)
	f := Finding{Draft: math.NaN(), Fire: burning}
	draft := v[frame.Draft]
	if math.IsNaN(draft) {
		j.sinceDraft += dt
		return f
	}
	if !in.DoorOpen {
		j.shut = in.At
	} else if in.At-j.shut <= doorFor {
		draft += doorTakes
	}
	j.follow(draft, dt)
	j.weigh(burning, in.DoorLikely, dt)
	f.Draft, f.Turned = j.fast, j.turned
	f.Cold = burning && !(v[frame.Flue]-v.Or(frame.Room, assumedRoom) >= warmFlue)
	f.Doubtful = j.quiet.step(draft, v[frame.Flue], dt) && j.turned
	switch {
	case !known:
		return f
	case !burning:
		f.Verdict = alarm.Absent
	case j.sure && !f.Doubtful:
		f.Verdict = alarm.Present
	case j.turned, j.fast <= turned+margin:
		f.Verdict = alarm.Between
	default:
		f.Verdict = alarm.Absent
	}
	return f
}

// outlives takes a fire that burned when the draft turned to burn on: without draft the
// flue grows cold beside the hottest coals.
func (j *Judge) outlives(burning bool, dt time.Duration) bool {
	switch {
	case burning:
		j.coals = coalsFor
	case j.turned:
		j.coals = max(0, j.coals-dt)
	default:
		j.coals = 0
	}
	return j.coals > 0
}

// weigh decides whether a sensor's zero could make the draft that has turned.
func (j *Judge) weigh(burning, door bool, dt time.Duration) {
	switch {
	case !j.turned || !burning:
		j.low, j.sure = 0, false
		return
	case j.fast <= turned:
		j.low += dt
	default:
		j.low = max(0, j.low-dt)
	}
	if door {
		j.sure = j.low >= doorSoon
	} else {
		j.sure = j.sure || j.fast <= certain || j.low >= doubtless
	}
}

// follow averages the draft and decides whether it has turned.
func (j *Judge) follow(draft float64, dt time.Duration) {
	dt += j.sinceDraft
	j.sinceDraft = 0
	if !j.has || dt > maxGap {
		j.has, j.turned = true, false
		// One reading is no turned draft: begin at what leaves the question open.
		j.fast, j.calm = max(turned+margin/2, clip(draft)), clip(draft)
		j.previous = [2]float64{draft, draft}
		return
	}
	// Single wild readings do not count.
	a, b := j.previous[0], j.previous[1]
	j.previous = [2]float64{b, draft}
	v := max(min(a, b), min(max(a, b), draft))
	pushed := v <= pushing
	v = clip(v)
	// How far it was pushed says nothing of how soon it comes back.
	j.fast = max(-turned, signal.Toward(j.fast, v, dt, quick))
	j.calm = signal.Toward(j.calm, v, dt, slow)
	if pushed { // beyond any flutter: there is nothing to wait for
		j.fast = min(j.fast, turned)
	}
	switch {
	case !j.turned && j.fast <= turned:
		j.turned, j.calm = true, j.fast
	case j.turned && (j.calm > back || j.fast > drawing):
		j.turned = false
	}
}

func clip(v float64) float64 { return max(-counted, min(counted, v)) }
