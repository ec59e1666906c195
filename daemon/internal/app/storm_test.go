package app

import (
	"math/rand/v2"
	"testing"
	"testing/synctest"
	"time"

	"fluewright/analysis/frame"
	"fluewright/daemon/internal/status"
)

// Faults that come and go at random while a fire burns: no good reading is ever wrong
// against the bench's truth or older than its limit, and each comes back.
func TestNoGoodReadingIsWrongInAStormOfFaults(t *testing.T) {
	// Faults that give no wrong value even for a moment. A frozen chip, a probe in the room
	// and a hose that is off look right for a while, and have tests of their own.
	faults := map[string][]string{
		"flue":    {"timeout", "stuck-00", "stuck-ff", "brown-out", "open", "over-voltage", "out-of-range", "wrong-part", "cold-junction-hot", "spikes"},
		"chamber": {"timeout", "stuck-00", "stuck-ff", "brown-out", "open", "over-voltage", "wrong-part", "spikes"},
		"plenum":  {"open", "brown-out", "stuck-ff"},
		"draft":   {"nack", "timeout", "crc", "stuck-00", "stuck-ff", "brown-out", "wrong-part"},
		"ambient": {"nack", "timeout", "stuck-00", "stuck-ff", "brown-out"},
		"i2c-1":   {"timeout", "nack"},
	}
	places := []string{"flue", "chamber", "plenum", "draft", "ambient", "i2c-1"}
	tolerance := map[frame.Channel]float64{
		frame.Flue: 1, frame.Chamber: 1, frame.Plenum: 1, frame.Room: 1, frame.Draft: 0.5, frame.Ambient: 10,
	}
	const recovery = 20 * time.Second // the longest back-off, a start and the look before it
	synctest.Test(t, func(t *testing.T) {
		r := newRig(t)
		rng := rand.New(rand.NewPCG(3, 4))
		var recent []map[string]float64 // truth, of the last seconds
		checked, faulty := 0, 0
		r.loop.after = append(r.loop.after, func(s *status.Status) {
			recent = append(recent, r.bench.Truth().Channels)
			if len(recent) > 5 {
				recent = recent[1:]
			}
			for c, in := range s.Frame.Inputs {
				ch := frame.Channel(c)
				margin, watched := tolerance[ch]
				if !watched {
					continue
				}
				if in.Quality != frame.Good {
					faulty++
					continue
				}
				checked++
				if age := s.Wall.Sub(s.Taken[c]); age > 5*time.Second {
					t.Errorf("%v at %v: good and %v old", ch, s.Frame.At, age)
				}
				lo, hi := recent[0][ch.String()], recent[0][ch.String()]
				for _, truth := range recent {
					lo, hi = min(lo, truth[ch.String()]), max(hi, truth[ch.String()])
				}
				if ch == frame.Draft {
					margin += 2 // it moves between the truths that were taken
				}
				if in.Value < lo-margin || in.Value > hi+margin {
					t.Errorf("%v at %v: good and %.2f, true were %.2f to %.2f", ch, s.Frame.At, in.Value, lo, hi)
				}
			}
		})
		r.do("light 12 16%")
		for range 60 {
			place := places[rng.IntN(len(places))]
			r.do("fault " + place + " " + faults[place][rng.IntN(len(faults[place]))])
			r.run(time.Duration(rng.IntN(15000)) * time.Millisecond)
			if rng.IntN(2) == 0 {
				for _, p := range places {
					r.do("clear " + p)
				}
				r.run(time.Duration(rng.IntN(20000)) * time.Millisecond)
			}
		}
		for _, p := range places {
			r.do("clear " + p)
		}
		r.run(recovery)
		for c := range tolerance {
			if q := r.quality(c); q < frame.Suspect {
				t.Errorf("%v is %v, %v after the last fault", c, q, recovery)
			}
		}
		if checked < 2000 || faulty < 1000 {
			t.Errorf("%d good readings and %d others: no storm", checked, faulty)
		}
	})
}
