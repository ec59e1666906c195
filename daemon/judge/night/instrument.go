package night

import (
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
