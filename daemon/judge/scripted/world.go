// Package scripted is a world of nights made with the bench's furnace: its differential
// equations, driven by a script and seen through sensors that differ from site to site.
//
// In that model too much air cools the fire, so that a regulator stuck shut or a door
// ajar does not overheat it; fuel and reloads do. Chimney fires show in its draft only.
package scripted

import (
	"cmp"
	"hash/fnv"
	"math"
	"math/rand/v2"
	"slices"
	"time"

	"fluewright/analysis/frame"
	"fluewright/daemon/judge/night"
	"fluewright/sensors/bench/furnace"
)

// World is the world. Its zero value is ready.
type World struct{}

// Name implements night.World.
func (World) Name() string { return "furnace" }

// Kinds implements night.World.
func (World) Kinds() []night.Kind {
	all := make([]night.Kind, len(kinds))
	for i, k := range kinds {
		all[i] = k.Kind
	}
	return all
}

// Night implements night.World.
func (World) Night(kind string, seed uint64) night.Night {
	i := slices.IndexFunc(kinds, func(k kindOf) bool { return k.Name == kind })
	h := fnv.New64a()
	h.Write([]byte("furnace/" + kind))
	r := rand.New(rand.NewPCG(seed, h.Sum64()))
	p := newPlan(r)
	kinds[i].script(p)
	return p.record()
}

// plan is a night before it happens.
type plan struct {
	*rand.Rand
	cfg    furnace.Config
	mass   float64 // of a usual load, kg
	wet    float64 // moisture of usual wood
	pace   float64 // how much quicker than the model this furnace is
	scale  [frame.Count]float64
	wind   float64
	length time.Duration
	script []action
	in     night.Instrument
	faults []night.Fault
	truth  night.Truth
	fitted [frame.Count]bool
}

// action is something that somebody does, or that happens, at a time.
type action struct {
	at time.Duration
	do func(*furnace.Furnace)
}

// between draws from a range.
func (p *plan) between(a, b float64) float64 { return a + (b-a)*p.Float64() }

// minutes draws a time.
func (p *plan) minutes(a, b float64) time.Duration {
	return time.Duration(p.between(a, b) * float64(time.Minute)).Round(time.Second)
}

func newPlan(r *rand.Rand) *plan {
	p := &plan{Rand: r, in: night.DrawInstrument(r)}
	p.cfg = furnace.Config{
		Outdoor: p.between(-22, 8), Room: p.between(14, 22), Ambient: p.between(84e3, 101e3),
		ChimneyHeight: p.between(5.5, 10), ChimneyDiameter: p.between(0.155, 0.18),
		SetPoint: p.between(10, 16), Demand: p.between(0.6, 0.9),
	}
	p.mass, p.wet = p.between(9, 14), p.between(0.14, 0.21)
	p.pace = p.between(0.75, 1.3)
	for c := range p.scale {
		p.scale[c] = 1
	}
	for _, c := range []frame.Channel{frame.Firebox, frame.Chamber, frame.Flue} {
		p.scale[c] = p.between(0.85, 1.2)
	}
	p.wind = max(0, 2.5*r.NormFloat64())
	p.length = p.minutes(240, 360)
	p.fitted = fitted(r)
	return p
}

// fitted draws which sensors the site has; flue and draft it always has.
func fitted(r *rand.Rand) (f [frame.Count]bool) {
	f[frame.Flue], f[frame.Draft] = true, true
	switch r.IntN(5) {
	case 0: // alone
	case 1:
		f[frame.Chamber] = true
	case 2:
		f[frame.Chamber], f[frame.Plenum], f[frame.Room] = true, true, true
	default:
		for c := range f {
			f[c] = true
		}
	}
	return f
}

// at adds an action.
func (p *plan) at(t time.Duration, do func(*furnace.Furnace)) {
	p.script = append(p.script, action{t, do})
}

// light lays and lights a load.
func (p *plan) light(t time.Duration, mass, wet, fineness float64) {
	p.at(t, func(f *furnace.Furnace) { f.Light(mass, wet, fineness) })
	p.truth.Loads = append(p.truth.Loads, t)
}

// usual lights an ordinary load after a few minutes and returns when.
func (p *plan) usual() time.Duration {
	t := p.minutes(5, 20)
	p.light(t, p.mass, p.wet, 1)
	return t
}

func (p *plan) reload(t time.Duration, mass, wet, fineness float64) {
	p.at(t, func(f *furnace.Furnace) { f.Reload(mass, wet, fineness) })
	p.truth.Loads = append(p.truth.Loads, t)
}

// happens notes a hazard.
func (p *plan) happens(h night.Hazard, cause string, from, to time.Duration) {
	p.truth.Events = append(p.truth.Events, night.Event{
		Hazard: h, Began: from, From: from, To: to, Cause: cause, Channel: frame.Count, Other: frame.Count, What: cause,
	})
}

// record runs a hard night of the same furnace to find what its limits must be, and
// returns the night that was planned.
func (p *plan) record() night.Night {
	site := night.Site{
		Fitted:   p.fitted,
		DraftLow: max(3, p.cfg.SetPoint-p.between(3, 5)), DraftHigh: p.cfg.SetPoint + p.between(4, 7),
		Altitude:      44330 * (1 - math.Pow(p.cfg.Ambient/101325, 0.1903)),
		ChimneyHeight: p.cfg.ChimneyHeight, ChimneyDiameter: p.cfg.ChimneyDiameter,
	}
	peak := p.hardest()
	for _, c := range []frame.Channel{frame.Firebox, frame.Chamber, frame.Flue} {
		if p.fitted[c] {
			site.Limits[c] = float64(int(peak[c]*p.between(1.07, 1.25)/5)) * 5
		}
	}
	slices.SortStableFunc(p.script, func(a, b action) int { return cmp.Compare(a.at, b.at) })
	return night.Record(site, &model{plan: p, furnace: p.furnace(p.Uint64())}, p.in, p.faults, p.truth, p.length, p.Rand)
}

func (p *plan) furnace(seed uint64) *furnace.Furnace {
	f := furnace.New(p.cfg, seed)
	f.SetWind(p.wind)
	return f
}

// hardest returns the peaks of a legitimate night that asks all of the furnace: cold,
// full demand, and a full load on a fire that is still hot.
func (p *plan) hardest() (peak frame.Values) {
	q := *p
	q.truth = night.Truth{}
	q.cfg.Outdoor = min(q.cfg.Outdoor, -20)
	for _, demand := range []float64{0.55, 1} {
		q.cfg.Demand = demand
		q.script = nil
		q.light(0, 1.1*q.mass, min(q.wet, 0.15), 1)
		again := time.Duration(float64(105*time.Minute) / q.pace)
		q.reload(again, q.mass, min(q.wet, 0.15), 1)
		m := model{plan: &q, furnace: q.furnace(1)}
		for at := time.Duration(0); at < again+time.Hour; at += 15 * time.Second {
			for c, v := range m.Advance(at) {
				peak[c] = max(peak[c], v)
			}
		}
	}
	return peak
}

// model lets the furnace play the plan.
type model struct {
	plan    *plan
	furnace *furnace.Furnace
	next    int
	at      time.Duration
}

// Advance implements night.Model.
func (m *model) Advance(at time.Duration) frame.Values {
	for m.next < len(m.plan.script) && m.plan.script[m.next].at <= at {
		m.pass(m.plan.script[m.next].at)
		m.plan.script[m.next].do(m.furnace)
		m.next++
	}
	m.pass(at)
	s := m.furnace.State()
	v := frame.Values{
		frame.Firebox: s.Probe.Firebox, frame.Chamber: s.Probe.Chamber, frame.Flue: s.Probe.Flue,
		frame.Plenum: s.Probe.Plenum, frame.Return: s.Probe.Return, frame.Room: s.Probe.Room,
		frame.Outdoor: s.Probe.Outdoor, frame.Draft: s.Draft, frame.Ambient: s.Ambient,
	}
	for _, c := range []frame.Channel{frame.Firebox, frame.Chamber, frame.Flue} {
		v[c] = s.Probe.Room + m.plan.scale[c]*(v[c]-s.Probe.Room)
	}
	return v
}

func (m *model) pass(at time.Duration) {
	m.furnace.Advance(time.Duration(m.plan.pace * float64(at-m.at)))
	m.at = at
}

// Burning implements night.Model.
func (m *model) Burning() bool {
	s := m.furnace.State()
	return s.Heat > 400 || s.Char > 0.05 && s.True.Firebox > 80
}
