package nights

import (
	"math"
	"time"
)

// The channels of a row, in their order.
const (
	Firebox = iota
	Chamber
	Flue
	Plenum
	Return
	Room
	Outdoor
	Draft
	Ambient
	Channels
)

// ChannelNames are the words of the channels.
var ChannelNames = [Channels]string{"firebox", "chamber", "flue", "plenum", "return", "room", "outdoor", "draft", "ambient"}

// probe is one fitted sensor: sheath, noise and what is wrong with it.
type probe struct {
	fitted  bool
	lag     float64 // s
	noise   float64 // standard deviation, °C or Pa
	quantum float64
	offset  float64
	blip    float64 // single samples per second that are far off

	value float64 // noise-free reading
	drift float64 // correlated noise

	dead    bool
	frozen  bool
	held    float64
	out     float64 // share of the probe that has left the place it belongs to
	creep   float64 // K/s or Pa/s of drift
	crept   float64
	covered float64 // share of the gas that ash or wood keeps away
	blocked bool    // of a hose
	hoseOff bool
}

type sensors struct {
	p       [Channels]probe
	swapped [2]int // channels whose wires are crossed; equal: none
}

// truths are the temperatures at the probes' places and the pressures.
func (w *world) truths() [Channels]float64 {
	f := &w.fire
	ap := &f.ap
	chamber := ap.chamberView*f.chamberGas + (1-ap.chamberView)*f.chamber
	flue := f.collar - ap.pipeView*(f.collar-w.room)
	return [Channels]float64{
		Firebox: ap.fireboxView*f.gas + (1-ap.fireboxView)*f.brick,
		Chamber: chamber + ap.chamberFlame*f.torch*math.Max(0, 900-chamber),
		Flue:    flue,
		Plenum:  f.plenum,
		Return:  w.room - 1.5,
		Room:    w.room,
		Outdoor: w.outdoor,
		Draft:   w.draft,
		Ambient: w.sky.pressure,
	}
}

// step lets the sheaths follow.
func (s *sensors) step(w *world, dt float64) {
	truth := w.truths()
	for c := range s.p {
		p := &s.p[c]
		aim := truth[c]
		lag := p.lag
		if p.out > 0 {
			aim += p.out * (w.room + 2 - aim)
			lag *= 1 + p.out // slow air
		}
		if p.covered > 0 {
			aim += p.covered * (0.45*w.fire.brick + 0.1*w.room - 0.55*aim)
			lag *= 1 + 6*p.covered
		}
		switch {
		case p.hoseOff:
			aim = 0
		case p.blocked:
			continue // what the hose holds stays in it
		}
		p.value += (aim - p.value) * (1 - math.Exp(-dt/lag))
		p.crept += p.creep * dt
	}
}

// read fills a row; clean holds the readings without noise and faults of the electronics.
func (s *sensors) read(d draw, w *world, at time.Duration, period float64, row *Row) {
	row.At = at
	k := math.Exp(-period / 20)
	for c := range s.p {
		p := &s.p[c]
		noise := p.noise * d.NormFloat64()
		p.drift = p.drift*k + math.Sqrt(1-k*k)*p.noise*d.NormFloat64()
		noise += 0.5 * p.drift
		if c == Draft && !p.hoseOff && !p.blocked {
			noise += w.roar * d.NormFloat64()
		}
		v := p.value + p.crept + p.offset + noise
		if d.chance(p.blip * period) {
			if c == Draft {
				v += pick(d, -1.0, 1) * d.between(15, 80)
			} else {
				v += pick(d, -1.0, 1) * d.over(30, 500)
			}
		}
		if p.quantum > 0 {
			v = math.Round(v/p.quantum) * p.quantum
		}
		if p.frozen {
			if math.IsNaN(p.held) {
				p.held = v
			}
			v = p.held
		}
		if !p.fitted || p.dead {
			v = math.NaN()
		}
		row.Values[c] = v
	}
	if a, b := s.swapped[0], s.swapped[1]; a != b {
		row.Values[a], row.Values[b] = row.Values[b], row.Values[a]
	}
}
