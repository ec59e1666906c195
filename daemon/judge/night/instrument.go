package night

import (
	"math"
	"math/rand/v2"
	"time"

	"fluewright/analysis/frame"
)

// Instrument is how a site's sensors see. The zero value of a channel is a perfect one.
type Instrument struct {
	Period time.Duration
	Jitter float64 // of the period, 0 to 1
	// Noise is a standard deviation, Quantum the step of the readings, Offset a constant
	// error, in the channel's unit; Lag is the time constant of a sheath, s.
	Noise, Quantum, Offset, Lag [frame.Count]float64
	// Dropped is the share of readings that are lost one by one, Blips that of single
	// absurd ones, Missing that of whole rows.
	Dropped, Blips, Missing float64
	// Gaps are times without rows.
	Gaps []Span
}

// Span is from and to.
type Span struct{ From, To time.Duration }

// Has reports whether at lies within.
func (s Span) Has(at time.Duration) bool { return at >= s.From && at < s.To }

// DrawInstrument draws sensors as sites have them, from good to mediocre.
func DrawInstrument(r *rand.Rand) Instrument {
	var in Instrument
	in.Period = pick[time.Duration](r, 500, 1000, 1000, 1000, 1000, 2000, 2000, 5000) * time.Millisecond
	if r.Float64() < 0.3 {
		in.Jitter = 0.2 * r.Float64()
	}
	quantum := pick(r, 0, 0.0078125, 0.1, 0.25, 0.25, 1)
	noise := pick(r, 0.05, 0.15, 0.3, 0.3, 0.8)
	for c := range frame.Count {
		in.Noise[c], in.Quantum[c] = noise, quantum
		if c == frame.Room || c == frame.Outdoor || c == frame.Return {
			in.Noise[c] = noise / 3
		}
	}
	in.Noise[frame.Draft], in.Quantum[frame.Draft] = pick(r, 0.03, 0.05, 0.1, 0.3), pick(r, 0, 0, 0.01, 0.1, 0.25)
	in.Offset[frame.Draft] = 0.08 * r.NormFloat64()
	in.Noise[frame.Ambient], in.Quantum[frame.Ambient] = 3, pick(r, 0, 0.18, 1)
	for _, c := range []frame.Channel{frame.Firebox, frame.Chamber, frame.Flue, frame.Plenum} {
		in.Lag[c] = 3 + 25*r.Float64()*r.Float64()
	}
	if r.Float64() < 0.3 {
		in.Dropped = 0.003 * r.Float64()
	}
	if r.Float64() < 0.3 {
		in.Missing = 0.01 * r.Float64()
	}
	return in
}

func pick[T any](r *rand.Rand, of ...T) T { return of[r.IntN(len(of))] }

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
	rng    *rand.Rand
	length time.Duration
	truth  Truth

	at     time.Duration
	rows   int
	lagged frame.Values
	above  [frame.Count]int // 1 + index of the crossing that lasts
	draft  float64          // averaged over seconds
	turned time.Duration    // how long it has been turned
	spill  int              // 1 + index of the spillage that lasts
	shown  [frame.Count]float64
}

// Record returns the night. truth holds what the model's script knows; limits that are
// passed, drafts that turn and faults of sensors are found and added here.
func Record(site Site, m Model, in Instrument, faults []Fault, truth Truth, length time.Duration, r *rand.Rand) *Recording {
	n := &Recording{site: site, model: m, in: in, faults: faults, rng: r, length: length, truth: truth}
	for _, f := range faults {
		n.truth.Events = append(n.truth.Events, f.event(length))
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
	burning := n.model.Burning()
	if burning {
		n.truth.Burning += dt
	}
	n.draft += (healthy[frame.Draft] - n.draft) * (1 - math.Exp(-dt.Seconds()/5))
	if n.rows == 1 {
		n.draft = healthy[frame.Draft]
	}
	if !burning || n.draft > 0 {
		n.turned, n.spill = 0, 0
		return
	}
	n.turned += dt
	if n.spill == 0 && n.turned >= gustTime {
		n.truth.Events = append(n.truth.Events, Event{
			Hazard: Spillage, From: at - n.turned, Channel: frame.Count, Other: frame.Count, What: "the draft has turned",
		})
		n.spill = len(n.truth.Events)
	}
	if n.spill > 0 {
		n.truth.Events[n.spill-1].To = at
	}
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
