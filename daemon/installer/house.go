// Package installer is a virtual installer with virtual houses: it plays commissioning on
// the bench's furnace in time-lapse, for the demonstration and for the tests that hold the
// recommended mark against the truth. It is not in the way of a real site.
package installer

import (
	"math"
	"math/rand/v2"
	"time"

	"fluewright/analysis/frame"
	"fluewright/sensors/bench/furnace"
)

// Regulator is what the bench's regulator really does at each mark.
type Regulator struct {
	Low, High float64 // the scale's first and last mark
	AtLow     float64 // Pa, set draft at the first mark
	AtHigh    float64 // Pa, at the last
	Bow       float64 // Pa, by which the middle of the scale lies above the straight line
}

// Set returns the set draft at a mark, Pa.
func (r Regulator) Set(mark float64) float64 {
	x := (mark - r.Low) / (r.High - r.Low)
	return r.AtLow + (r.AtHigh-r.AtLow)*x + 4*r.Bow*x*(1-x)
}

// Noise is what the sensors add.
type Noise struct {
	Draft, Temperature         float64 // standard deviation of a reading, Pa and K
	DraftStep, TemperatureStep float64 // resolution
}

// House is a furnace with its chimney, its regulator and its sensors.
type House struct {
	*furnace.Furnace
	Regulator Regulator
	Noise     Noise
	Outdoor   bool // there is an outdoor sensor
	Ambient   bool // there is one for the pressure of the air
	Bare      bool // there is nothing but flue and draft

	rng  *rand.Rand
	at   time.Duration
	mark float64 // as the hand has really set it

	plugged bool    // a plug carries the cold column: next to nothing of it is left at the collar
	hoseOff bool    // both ports are open
	breath  float64 // Pa, blown into the hose
	fans    float64 // Pa, that exhaust fans take from the house
	warm    frame.Channel
	warmBy  float64 // K, that a hand makes
}

// NewHouse returns a house; the seed decides weather and noise.
func NewHouse(cfg furnace.Config, r Regulator, n Noise, mark float64, seed uint64) *House {
	h := &House{
		Furnace: furnace.New(cfg, seed), Regulator: r, Noise: n, Outdoor: true, Ambient: true,
		rng: rand.New(rand.NewPCG(seed, 0x686f757365)),
	}
	h.SetMark(mark)
	return h
}

// handError is how far off the mark a hand sets the weight, marks (one standard deviation).
const handError = 0.1

// SetMark sets the regulator to a mark, as well as a hand can.
func (h *House) SetMark(mark float64) {
	h.mark = mark + handError*h.rng.NormFloat64()
	h.SetRegulator(h.Regulator.Set(h.mark), furnace.Free)
}

// HoldShut holds the gate shut, or lets it go.
func (h *House) HoldShut(shut bool) {
	state := furnace.Free
	if shut {
		state = furnace.StuckShut
	}
	h.SetRegulator(h.Regulator.Set(h.mark), state)
}

// Values lets a tick pass and returns what the sensors then say.
func (h *House) Values(tick time.Duration) (time.Duration, frame.Values) {
	h.Advance(tick)
	h.at += tick
	s := h.State()
	var v frame.Values
	for c := range v {
		v[c] = math.NaN()
	}
	for c, t := range map[frame.Channel]float64{
		frame.Firebox: s.Probe.Firebox, frame.Chamber: s.Probe.Chamber, frame.Flue: s.Probe.Flue,
		frame.Plenum: s.Probe.Plenum, frame.Return: s.Probe.Return, frame.Room: s.Probe.Room, frame.Outdoor: s.Probe.Outdoor,
	} {
		v[c] = t
	}
	for c := range v { // in the channels' order, as the noise is drawn from one source
		if !frame.Channel(c).Pressure() {
			v[c] = rounded(v[c]+h.Noise.Temperature*h.rng.NormFloat64(), h.Noise.TemperatureStep)
		}
	}
	v[h.warm] += h.warmBy
	draft := s.Draft
	if h.plugged {
		draft *= 0.05
	}
	draft += h.breath - h.fans
	if h.hoseOff {
		draft = 0
	}
	v[frame.Draft] = rounded(draft+h.Noise.Draft*h.rng.NormFloat64(), h.Noise.DraftStep)
	v[frame.Ambient] = s.Ambient
	if !h.Outdoor {
		v[frame.Outdoor] = math.NaN()
	}
	if !h.Ambient {
		v[frame.Ambient] = math.NaN()
	}
	if h.Bare {
		flue, draft := v[frame.Flue], v[frame.Draft]
		for c := range v {
			v[c] = math.NaN()
		}
		v[frame.Flue], v[frame.Draft] = flue, draft
	}
	return h.at, v
}

func rounded(v, step float64) float64 {
	if step <= 0 {
		return v
	}
	return math.Round(v/step) * step
}

// mean returns the draft in Pa that a mark gives with the fire as it burns now, in the wind
// that blows or in none: the mean over several futures, as gusts would move that of one.
func (h *House) mean(mark float64, calm bool) float64 {
	const futures, seconds = 5, 100
	sum := 0.0
	for range futures {
		f := *h.Furnace // its gusts go on from the same source
		f.SetRegulator(h.Regulator.Set(mark), furnace.Free)
		if calm {
			f.SetWind(0)
		}
		f.Advance(20 * time.Second)
		for range seconds {
			f.Advance(time.Second)
			sum += f.State().Draft
		}
	}
	return sum / (futures * seconds)
}

// Range returns the drafts in Pa that the regulator can hold now, from its first mark to
// its last.
func (h *House) Range() (lowest, highest float64) {
	return h.mean(h.Regulator.Low, false), h.mean(h.Regulator.High, false)
}

// Truth returns the mark that gives the specified draft in Pa with the fire as it burns
// now, in the wind that blows or in none: found by trying, on a copy of the house. False if
// no mark of the scale gives it.
func (h *House) Truth(specified float64, calm bool) (float64, bool) {
	lo, hi := h.Regulator.Low, h.Regulator.High
	if h.mean(lo, calm) > specified || h.mean(hi, calm) < specified {
		return 0, false
	}
	for hi-lo > 0.03 {
		m := (lo + hi) / 2
		if h.mean(m, calm) < specified {
			lo = m
		} else {
			hi = m
		}
	}
	return (lo + hi) / 2, true
}

// Now returns how much time has passed in the house.
func (h *House) Now() time.Duration { return h.at }
