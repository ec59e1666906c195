// Package curves is a world of nights without a furnace: drawn shapes, as somebody might
// draw them who has read how wood burns. An intensity rises and decays with each load;
// the temperatures follow it with their own exponents and time constants, the draft
// follows the flue through a chimney's lag and a regulator's clamp. Hazards are other
// shapes, with the marks of their cause on the other channels.
package curves

import (
	"hash/fnv"
	"math"
	"math/rand/v2"
	"slices"
	"time"

	"fluewright/analysis/frame"
	"fluewright/daemon/judge/night"
)

// World is the world. Its zero value is ready.
type World struct{}

// Name implements night.World.
func (World) Name() string { return "curves" }

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
	h.Write([]byte("curves/" + kind))
	r := rand.New(rand.NewPCG(seed, h.Sum64()))
	p := newPlan(r)
	kinds[i].script(p)
	return night.Record(p.site, newDrawing(p), p.in, p.faults, p.truth, p.length, r)
}

// hot are the channels that follow the intensity.
var hot = []frame.Channel{frame.Firebox, frame.Chamber, frame.Flue}

// plan is a night before it is drawn.
type plan struct {
	*rand.Rand
	site    night.Site
	in      night.Instrument
	faults  []night.Fault
	truth   night.Truth
	length  time.Duration
	room    float64
	outdoor float64

	level    [frame.Count]float64 // °C at intensity 1
	exponent [frame.Count]float64
	tau      [frame.Count]float64 // s

	height, share, friction float64 // of the chimney: m, of the flue's heat, of the draft
	wall                    float64 // s
	set, gate               float64 // the regulator's set point, Pa; how far the draft still climbs
	gusts, gustTime         float64 // Pa, s
	wander                  float64 // of the intensity

	pulses []pulse
	doors  []door
	marks  []mark
	rise   float64 // K that the blower's air gains at intensity 1
	fanOn  float64 // °C
}

// between draws from a range.
func (p *plan) between(a, b float64) float64 { return a + (b-a)*p.Float64() }

// minutes draws a time.
func (p *plan) minutes(a, b float64) time.Duration {
	return time.Duration(p.between(a, b) * float64(time.Minute)).Round(time.Second)
}

func newPlan(r *rand.Rand) *plan {
	p := &plan{Rand: r, in: night.DrawInstrument(r)}
	p.room, p.outdoor = p.between(13, 23), p.between(-25, 9)
	p.level[frame.Flue], p.exponent[frame.Flue], p.tau[frame.Flue] = p.between(170, 330), p.between(0.7, 1), p.between(40, 200)
	p.level[frame.Chamber], p.exponent[frame.Chamber], p.tau[frame.Chamber] = p.between(520, 640), p.between(0.4, 0.7), p.between(60, 360)
	p.level[frame.Firebox], p.exponent[frame.Firebox], p.tau[frame.Firebox] = p.between(420, 750), p.between(0.4, 0.8), p.between(40, 300)
	p.height, p.share, p.friction = p.between(4.5, 11), p.between(0.5, 0.8), p.between(0.65, 0.95)
	p.wall = p.between(60, 500)
	p.set, p.gate = p.between(8, 18), p.between(0.02, 0.12)
	p.gusts, p.gustTime = math.Abs(0.8*r.NormFloat64()), p.between(2, 8)
	p.wander = p.between(0.01, 0.04)
	p.rise, p.fanOn = p.between(18, 32), p.between(40, 50)
	p.length = p.minutes(220, 330)

	s := &p.site
	s.Fitted[frame.Flue], s.Fitted[frame.Draft] = true, true
	switch r.IntN(5) {
	case 0: // alone
	case 1:
		s.Fitted[frame.Chamber] = true
	case 2:
		s.Fitted[frame.Chamber], s.Fitted[frame.Plenum], s.Fitted[frame.Room] = true, true, true
	default:
		for c := range s.Fitted {
			s.Fitted[c] = true
		}
	}
	margin := map[frame.Channel][2]float64{frame.Firebox: {1.2, 1.45}, frame.Chamber: {1.13, 1.3}, frame.Flue: {1.35, 1.9}}
	for _, c := range hot {
		if m := p.between(margin[c][0], margin[c][1]); s.Fitted[c] {
			s.Limits[c] = math.Round(m*p.level[c]/5) * 5
		}
	}
	s.DraftLow, s.DraftHigh = max(3, p.set-p.between(2.5, 6)), p.set+p.between(3, 7)
	s.Altitude, s.ChimneyHeight = p.between(0, 2000), p.height
	s.ChimneyDiameter = p.between(0.13, 0.2)
	return p
}

// needed is the intensity at which the first channel would settle at the share of its
// limit, in °C.
func (p *plan) needed(share float64) float64 {
	least := math.Inf(1)
	for _, c := range hot {
		if limit := p.site.Limits[c]; limit > 0 {
			q := math.Pow((share*limit-p.room)/(p.level[c]-p.room), 1/p.exponent[c])
			least = min(least, q)
		}
	}
	return least
}

// happens notes a hazard.
func (p *plan) happens(h night.Hazard, cause string, from, to time.Duration) {
	p.truth.Events = append(p.truth.Events, night.Event{
		Hazard: h, Began: from, From: from, To: to, Cause: cause, Channel: frame.Count, Other: frame.Count, What: cause,
	})
}
