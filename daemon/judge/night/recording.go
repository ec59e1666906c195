package night

import (
	"math"
	"math/rand/v2"
	"time"

	"fluewright/analysis/frame"
)

// Model is a furnace that an instrument looks at.
type Model interface {
	// Advance lets time pass up to at and returns what there is at the probes, NaN
	// nowhere.
	Advance(at time.Duration) frame.Values
	// Burning reports whether something burns or glows.
	Burning() bool
}

// Recording is a night made of a model, an instrument and faults of its sensors.
type Recording struct {
	site   Site
	model  Model
	in     Instrument
	faults []Fault
	seen   []bool // by fault: it shows
	first  int    // index of the first fault's event
	rng    *rand.Rand
	length time.Duration
	truth  Truth

	at      time.Duration
	rows    int
	lagged  frame.Values
	above   [frame.Count]int // 1 + index of the crossing that lasts
	coldest [frame.Count]float64
	draft   float64       // averaged over seconds
	drew    time.Duration // when it was above zero last
	spill   spell
	shown   [frame.Count]float64
}

// Record returns the night. truth holds what the model's script knows; limits that are
// passed, drafts that turn and faults of sensors are found and added here.
func Record(site Site, m Model, in Instrument, faults []Fault, truth Truth, length time.Duration, r *rand.Rand) *Recording {
	n := &Recording{site: site, model: m, in: in, faults: faults, rng: r, length: length, truth: truth}
	n.seen, n.first = make([]bool, len(faults)), len(truth.Events)
	for _, f := range faults {
		n.truth.Events = append(n.truth.Events, f.event(length))
	}
	for c := range n.coldest {
		n.coldest[c] = math.Inf(1)
	}
	return n
}

// Site implements Night.
func (n *Recording) Site() Site { return n.site }

// Truth implements Night.
func (n *Recording) Truth() *Truth { return &n.truth }

// Next implements Night.
func (n *Recording) Next(row *Row) bool {
	for {
		if n.at > n.length {
			return false
		}
		at, dt := n.at, n.in.Period
		if n.rows == 0 {
			dt = 0
		}
		n.rows++
		n.at += n.in.Period
		healthy := n.sense(n.model.Advance(at), dt.Seconds(), n.rows == 1)
		n.watch(at, dt, healthy)
		if n.lost(at) {
			continue
		}
		row.At = at
		if n.in.Jitter > 0 {
			row.At += time.Duration(n.in.Jitter * n.rng.Float64() * float64(n.in.Period)).Truncate(time.Millisecond)
		}
		row.Values = n.show(at, healthy)
		return true
	}
}

func (n *Recording) lost(at time.Duration) bool {
	for _, g := range n.in.Gaps {
		if g.Has(at) {
			return true
		}
	}
	return n.in.Missing > 0 && n.rng.Float64() < n.in.Missing
}

// sense lets each probe follow behind its sheath.
func (n *Recording) sense(v frame.Values, dt float64, first bool) frame.Values {
	if first {
		n.lagged = v
		return v
	}
	for c := range v {
		if lag := n.in.Lag[c]; lag > 0 {
			n.lagged[c] += (v[c] - n.lagged[c]) * (1 - math.Exp(-dt/lag))
		} else {
			n.lagged[c] = v[c]
		}
	}
	return n.lagged
}

// hysteresis is how far below its limit a channel must come for a crossing to be over.
const hysteresis = 10.0

// gustTime is how long the draft must be turned to be more than a gust.
const gustTime = 15 * time.Second

// calm is how long the draft must be right again for a spell to be over.
const calm = time.Minute

// kindles is how long before the model calls it a fire wood may have been lit that smokes.
const kindles = 15 * time.Minute

// spell is a time for which the draft is turned over a fire.
type spell struct {
	lasts time.Duration
	right time.Duration // how long it has been right again
	began time.Duration
	shown time.Duration // when the readings showed a fire to it
	fire  bool          // they do
	event int           // 1 + index of the event
}

// watch finds what is true by the readings without their noise.
func (n *Recording) watch(at, dt time.Duration, healthy frame.Values) {
	for c, limit := range n.site.Limits {
		if limit == 0 || !n.site.Fitted[c] {
			continue
		}
		switch v := healthy[c]; {
		case v > limit && n.above[c] == 0:
			n.truth.Crossings = append(n.truth.Crossings, Crossing{Channel: frame.Channel(c), From: at, To: at})
			n.above[c] = len(n.truth.Crossings)
		case v < limit-hysteresis:
			n.above[c] = 0
		}
		if i := n.above[c]; i > 0 {
			n.truth.Crossings[i-1].To = at
		}
	}
	n.watchFaults(at, &healthy)
	burning := n.model.Burning()
	if burning {
		n.truth.Burning += dt
	}
	n.watchDraft(at, dt, burning, &healthy)
}

// watchFaults moves a fault's beginning to when it shows.
func (n *Recording) watchFaults(at time.Duration, healthy *frame.Values) {
	for i := range n.faults {
		f := &n.faults[i]
		if n.seen[i] || at < f.From {
			continue
		}
		if n.seen[i] = !f.hidden(at-f.From, healthy); !n.seen[i] {
			n.truth.Events[n.first+i].From = at
		}
	}
}

// visible is how far a fire must have warmed a probe to be seen, K.
var visible = [frame.Count]float64{frame.Firebox: 40, frame.Chamber: 40, frame.Flue: 20}

// watchDraft finds the times for which the draft is turned over a fire.
func (n *Recording) watchDraft(at, dt time.Duration, burning bool, healthy *frame.Values) {
	fire := false
	for c, k := range visible {
		n.coldest[c] = min(n.coldest[c], healthy[c])
		fire = fire || k > 0 && n.site.Fitted[c] && healthy[c] > n.coldest[c]+k
	}
	if n.draft += (healthy[frame.Draft] - n.draft) * (1 - math.Exp(-dt.Seconds()/5)); n.rows == 1 {
		n.draft = healthy[frame.Draft]
	}
	if n.draft > 0 {
		n.drew = at
	}
	s := &n.spill
	if s.right += dt; !burning || n.draft > 0 {
		if s.event == 0 || s.right >= calm {
			*s = spell{}
		}
		return
	}
	s.right = 0
	if s.lasts == 0 {
		s.began = n.smokes(at)
	}
	s.lasts += dt
	if fire && !s.fire {
		s.fire, s.shown = true, at
	}
	if s.event == 0 && s.lasts >= gustTime {
		n.truth.Events = append(n.truth.Events, Event{
			Hazard: Spillage, Began: s.began, Channel: frame.Count, Other: frame.Count, What: "the draft has turned",
		})
		s.event = len(n.truth.Events)
	}
	if s.event > 0 {
		e := &n.truth.Events[s.event-1]
		e.To = at
		if e.From = s.shown; !s.fire {
			e.From = at // nothing shows it so far
		}
	}
}

// smokes is since when, up to at, the draft has been turned over wood that was lit.
func (n *Recording) smokes(at time.Duration) time.Duration {
	began := at
	for _, lit := range n.truth.Loads {
		if lit <= at && at-lit <= kindles {
			began = min(began, max(lit, n.drew))
		}
	}
	return began
}

// show makes readings of what the probes have reached.
func (n *Recording) show(at time.Duration, v frame.Values) frame.Values {
	var out frame.Values
	for c := range v {
		out[c] = v[c] + n.in.Offset[c] + n.in.Noise[c]*n.rng.NormFloat64()
	}
	for i := range n.faults {
		n.faults[i].apply(at, &out, v, n.shown, n.rng)
	}
	for c := range out {
		// A frozen value stays what it was; everything else is rounded as the chip does.
		if q := n.in.Quantum[c]; q > 0 && !math.IsNaN(out[c]) {
			out[c] = math.Round(out[c]/q) * q
		}
		if n.in.Dropped > 0 && n.rng.Float64() < n.in.Dropped {
			out[c] = math.NaN()
		}
		if n.in.Blips > 0 && n.rng.Float64() < n.in.Blips {
			out[c] += 400 * n.rng.NormFloat64()
			if frame.Channel(c) == frame.Ambient {
				out[c] = v[c]
			}
		}
		if !n.site.Fitted[c] {
			out[c] = math.NaN()
		} else if !math.IsNaN(out[c]) {
			n.shown[c] = out[c]
		}
	}
	return out
}
