package cause_test

import (
	"encoding/binary"
	"math"
	"testing"
	"time"

	"pgregory.net/rapid"

	"fluewright/analysis/alarm"
	"fluewright/analysis/burn"
	"fluewright/analysis/cause"
	"fluewright/analysis/frame"
)

var subjects = []alarm.Key{
	overheat, fire, hotAir,
	{Name: alarm.Runaway, Channel: frame.Chamber},
	{Name: alarm.Overheat, Channel: frame.Firebox},
	{Name: alarm.Runaway, Channel: frame.Draft},
	{Name: alarm.Overheat, Channel: 200},
}

// sound fails unless a ranking is one whatever was shown to the tracker.
func sound(t interface{ Fatalf(string, ...any) }, list []cause.Cause) {
	sum, last := 0.0, 1.0
	seen := map[cause.Code]bool{}
	for _, c := range list {
		if !(c.Weight >= 0 && c.Weight <= last) || seen[c.Code] {
			t.Fatalf("weight %v of %q after %v", c.Weight, c.Code, last)
		}
		if c.Evidence[0].Kind == cause.None {
			t.Fatalf("no evidence for %q", c.Code)
		}
		for _, e := range c.Evidence {
			if math.IsNaN(e.Value+e.Reference) || math.IsInf(e.Value+e.Reference, 0) || e.For < 0 {
				t.Fatalf("evidence %+v for %q", e, c.Code)
			}
		}
		seen[c.Code] = true
		last = c.Weight
		sum += c.Weight
	}
	if !(sum <= 1+1e-9) {
		t.Fatalf("weights sum to %v", sum)
	}
}

var values = rapid.OneOf(
	rapid.Float64Range(-50, 1200), rapid.Just(math.NaN()), rapid.Float64Range(-1e6, 1e6),
	rapid.SampledFrom([]float64{0, 20, 480, 2500, math.MaxFloat64, -math.MaxFloat64, math.Inf(1), math.Inf(-1)}),
)

// Whatever the frames say, a ranking is a ranking.
func TestAnyFrames(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		tr := new(cause.Tracker)
		in := cause.Inputs{DraftLow: bandLow, DraftHigh: bandHigh, Limits: limits}
		for range rapid.IntRange(1, 60).Draw(t, "frames") {
			in.At += time.Duration(rapid.SampledFrom([]int{1, 5, 15, 60, 600, -3, -700}).Draw(t, "step")) * time.Second
			for c := range in.Values {
				if rapid.Bool().Draw(t, "changes") {
					in.Values[c] = values.Draw(t, "value")
				}
			}
			in.Door = rapid.Bool().Draw(t, "door")
			in.BlowerStopped = rapid.Bool().Draw(t, "stopped")
			in.Phase = burn.Phase(rapid.IntRange(0, 8).Draw(t, "phase"))
			if rapid.IntRange(0, 9).Draw(t, "load") == 0 {
				in.Load = burn.Load{
					At: in.At - time.Minute, Known: in.At, Cold: rapid.Bool().Draw(t, "cold"),
					Flue: values.Draw(t, "flue"), Chamber: values.Draw(t, "chamber"), Firebox: values.Draw(t, "firebox"),
				}
			}
			if rapid.IntRange(0, 9).Draw(t, "band") == 0 {
				in.DraftHigh, in.Limits[frame.Flue] = values.Draw(t, "high"), values.Draw(t, "limit")
			}
			tr.Step(in)
			for _, s := range subjects {
				sound(t, tr.Rank(s, nil))
			}
		}
	})
}

// Nothing is said of a furnace that was never seen.
func TestZeroValue(t *testing.T) {
	var tr cause.Tracker
	for _, s := range subjects {
		if got := tr.Rank(s, nil); len(got) != 0 {
			t.Errorf("%v: %v", s, got)
		}
	}
}

func FuzzStep(f *testing.F) {
	f.Add([]byte("\x00\x10\x20\x30\x40\x50\x60\x70\x80\x90"), uint8(3))
	f.Fuzz(func(t *testing.T, data []byte, flags uint8) {
		tr := new(cause.Tracker)
		in := cause.Inputs{DraftLow: bandLow, DraftHigh: bandHigh, Limits: limits}
		for c := range in.Values {
			in.Values[c] = math.NaN()
		}
		for len(data) >= 6 {
			in.At += time.Duration(int16(binary.LittleEndian.Uint16(data))) * time.Second / 10
			c := int(data[2]) % int(frame.Count)
			in.Values[c] = float64(int16(binary.LittleEndian.Uint16(data[3:]))) / 16
			if data[5]&1 != 0 {
				in.Values[c] = math.NaN()
			}
			in.Door, in.BlowerStopped = data[5]&2 != 0, data[5]&4 != 0
			if data[5]&8 != 0 {
				in.Load = burn.Load{At: in.At, Known: in.At, Cold: flags&1 != 0, Flue: in.Values[frame.Flue], Chamber: math.NaN(), Firebox: math.NaN()}
			}
			data = data[6:]
			tr.Step(in)
			for _, s := range subjects {
				sound(t, tr.Rank(s, nil))
			}
		}
	})
}
