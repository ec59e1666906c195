package burn

import (
	"math"
	"time"
)

// Thresholds in °C. Those marked "practice" are common practice, no source.
const (
	assumedRoom  = 20.0  // where there is no room reading
	litRise      = 30.0  // flue above room: something burns
	outRise      = 20.0  // flue above room: nothing burns any more
	litFlue      = 120.0 // flue: lighting is over
	cleanChamber = 510.0 // 950 °F: smoke burns completely (practice)
	cleanFlue    = 204.0 // 400 °F: below it a flue probe reads too low, creosote (practice)
	cleanMargin  = 30.0  // hysteresis of both
	coalsShare   = 0.5   // of the peak's rise over room: flames are over
	reloadRise   = 15.0  // above the lowest flue in coals: wood was added
	trendMargin  = 1.0   // between the fast and the slow average: the flue rises or falls
)

// Time constants of the averages that tell rising from falling, and how long a burn
// that is not clean may last before it is called smouldering.
const (
	fastTrend    = 30 * time.Second
	slowTrend    = 2 * time.Minute
	smoulderHold = 10 * time.Minute
	maxGap       = 2 * time.Minute
)

// Inputs are the readings that the tracker judges by; NaN where there is none.
type Inputs struct {
	Flue, Chamber, Room, Draft float64
}

// Tracker follows one furnace through its phases. It needs the flue; while that is
// missing, the last phase is held, since a fire does not end because a wire came off.
type Tracker struct {
	Phase Phase
	Since time.Duration
	Burn  Summary // of the present burn, while Phase.Fire

	last       time.Duration
	seen       bool
	fast, slow float64 // averages of the flue
	peak       float64 // hottest flue since the last load
	low        float64 // coldest flue in coals
	dull       time.Duration
	drafts     float64
	nDrafts    float64
}

// Step takes the readings at time at. It returns the phase before, and the burn that
// ended with this step, if one did.
func (t *Tracker) Step(at time.Duration, in Inputs) (from Phase, ended bool) {
	from = t.Phase
	dt := time.Duration(0)
	if at > t.last {
		dt = at - t.last
	}
	t.last = at
	if math.IsNaN(in.Flue) {
		return from, false
	}
	room := in.Room
	if math.IsNaN(room) {
		room = assumedRoom
	}
	t.follow(dt, in.Flue)
	next := t.next(dt, in, room)
	if next != from {
		ended = t.enter(next, at, in.Flue)
	}
	if next.Fire() {
		t.sum(at, dt, in)
	}
	return from, ended
}

// follow keeps the two averages whose difference is the trend. The weight is the
// backward-difference one: it needs no exponential and is the same on every machine.
func (t *Tracker) follow(dt time.Duration, flue float64) {
	if !t.seen || dt > maxGap {
		t.fast, t.slow, t.seen = flue, flue, true
		return
	}
	s := dt.Seconds()
	t.fast += float64(s / (s + fastTrend.Seconds()) * (flue - t.fast))
	t.slow += float64(s / (s + slowTrend.Seconds()) * (flue - t.slow))
}

func (t *Tracker) rising() bool  { return t.fast > t.slow+trendMargin }
func (t *Tracker) falling() bool { return t.fast < t.slow-trendMargin }

// next applies the rules to one reading.
func (t *Tracker) next(dt time.Duration, in Inputs, room float64) Phase {
	rise := in.Flue - room
	if rise < outRise {
		return Cold
	}
	if t.Phase.Fire() {
		t.peak = max(t.peak, in.Flue)
	}
	clean := t.clean(in)
	spent := rise < float64(coalsShare*(t.peak-room)) && !t.rising()
	switch t.Phase {
	case Unknown:
		switch { // the monitor was started beside a fire
		case rise < litRise:
			return Cold
		case clean:
			return CleanBurn
		case in.Flue >= litFlue:
			return WarmUp
		}
		return Lighting
	case Cold:
		if rise >= litRise {
			return Lighting
		}
	case Lighting:
		if in.Flue >= litFlue {
			return WarmUp
		}
	case WarmUp:
		switch {
		case clean:
			return CleanBurn
		case spent:
			return Coals
		}
	case CleanBurn, Smoulder:
		switch {
		case clean:
			t.dull = 0
			return CleanBurn
		case spent:
			return Coals
		}
		if !t.falling() { // a dying fire is on its way to coals
			t.dull += dt
		}
		if t.dull >= smoulderHold {
			return Smoulder
		}
	case Coals:
		t.low = min(t.low, in.Flue)
		if in.Flue > t.low+reloadRise && t.rising() {
			return WarmUp
		}
	}
	return t.Phase
}

// clean reports whether the fire burns its smoke, with hysteresis. The chamber tells;
// without one, the flue has to.
func (t *Tracker) clean(in Inputs) bool {
	value, threshold := in.Chamber, cleanChamber
	if math.IsNaN(value) {
		value, threshold = in.Flue, cleanFlue
	}
	if t.Phase == CleanBurn {
		threshold -= cleanMargin
	}
	return value >= threshold
}

func (t *Tracker) enter(p Phase, at time.Duration, flue float64) (ended bool) {
	before := t.Phase
	t.Phase, t.Since, t.dull = p, at, 0
	switch {
	case !before.Fire() && p.Fire():
		t.Burn = Summary{Start: at, PeakFlue: math.NaN(), PeakChamber: math.NaN(), MeanDraft: math.NaN()}
		t.peak, t.drafts, t.nDrafts = flue, 0, 0
	case before == Coals && p == WarmUp: // a new load has its own peak
		t.peak = flue
	case p == Coals:
		t.low = flue
	case before.Fire() && !p.Fire():
		t.Burn.End = at
		return true
	}
	return false
}

// sum adds one reading to the burn's summary.
func (t *Tracker) sum(at, dt time.Duration, in Inputs) {
	b := &t.Burn
	b.End = at
	if t.Phase == CleanBurn && dt <= maxGap {
		b.CleanBurn += dt
	}
	b.PeakFlue = larger(b.PeakFlue, in.Flue)
	b.PeakChamber = larger(b.PeakChamber, in.Chamber)
	if !math.IsNaN(in.Draft) {
		t.drafts += in.Draft
		t.nDrafts++
		b.MeanDraft = t.drafts / t.nDrafts
	}
}

// larger is max that takes a NaN for "none yet".
func larger(a, b float64) float64 {
	if math.IsNaN(a) || b > a {
		return b
	}
	return a
}
