package burn_test

import (
	"math"
	"testing"
	"time"

	"fluewright/analysis/burn"
	"fluewright/analysis/frame"

	"pgregory.net/rapid"
)

// near reports whether a duration is what it should be.
func near(got, want, within time.Duration) bool { return (got - want).Abs() <= within }

func TestSummaryOfABurn(t *testing.T) {
	f := newFire(t, burn.Site{DraftLow: 10, DraftHigh: 15})
	f.full()
	f.values[frame.Plenum], f.values[frame.Return], f.values[frame.Outdoor] = 20, 18, -5
	f.toward(time.Minute, 10*time.Minute, nil)
	lit := f.at
	// Still air until the blower starts at 41 °C, half an hour after lighting.
	hot := set{frame.Firebox: 600, frame.Chamber: 620, frame.Flue: 260, frame.Draft: 13, frame.Plenum: 66.9}
	for f.values[frame.Plenum] < 41 {
		f.toward(40*time.Minute, time.Second, hot)
	}
	fan := f.at
	hot[frame.Plenum] = 36
	f.toward(time.Minute, 3*time.Minute, hot)
	hot[frame.Plenum] = 50
	f.toward(25*time.Minute, 90*time.Minute, hot)
	peak := f.values
	f.burnDown()
	f.goOut()

	b := f.burns[0]
	if b.Kind != burn.ColdStart || !near(b.Start, lit, 2*time.Minute) || b.End != f.tracker.Finished.End {
		t.Errorf("%v from %v (lit at %v) to %v", b.Kind, b.Start, lit, b.End)
	}
	if b.FanOn.How != burn.Observed || !near(b.FanOn.After, fan-lit, 2*time.Minute) {
		t.Errorf("fan on %+v, want %v", b.FanOn, fan-lit)
	}
	if b.Clean.How != burn.Observed || b.Clean.After < 20*time.Minute || b.Clean.After > 90*time.Minute {
		t.Errorf("clean %+v", b.Clean)
	}
	for _, c := range []frame.Channel{frame.Firebox, frame.Chamber, frame.Flue} {
		if p := b.Peaks[c]; math.Abs(p.Value-peak[c]) > 1 || !near(p.At, lit+110*time.Minute, 25*time.Minute) {
			t.Errorf("%v peaked at %+v", c, p)
		}
	}
	if b.PeakFlue != b.Peaks[frame.Flue].Value || b.PeakChamber != b.Peaks[frame.Chamber].Value {
		t.Error("the peaks differ from the peaks")
	}
	if !math.IsNaN(b.Peaks[frame.Ambient].Value) {
		t.Error("a peak of a channel that is not there")
	}
	d := b.Draft
	if !(d.Least < 5 && d.Most > 12 && d.Most < 13.1) || d.Below == 0 || d.Within == 0 || d.Above != 0 {
		t.Errorf("drafts %+v", d)
	}
	if d.Below+d.Within+d.Above != d.Seen {
		t.Errorf("shares of the draft do not add up: %+v", d)
	}
	if c := b.Creosote; c.Smoke <= 0 || c.Tar <= 0 || !c.Typical || !near(c.Seen, d.Seen, time.Minute) {
		t.Errorf("creosote %+v over %v", c, d.Seen)
	}
	if h := b.Delivered; h.Rise <= 0 || !math.IsNaN(h.Heat) {
		t.Errorf("heat without an air flow: %+v", h)
	}
}

// With the air flow the heat is that of the air: ρ cp V ΔT, 1.2 kg/m³ · 1006 J/(kg K) ·
// 0.5 m³/s · 30 K is 18 kW.
func TestHeatDelivered(t *testing.T) {
	f := newFire(t, burn.Site{AirFlow: 0.5})
	f.full()
	f.values[frame.Plenum], f.values[frame.Return], f.values[frame.Ambient] = 20, 20, 101325
	f.toward(time.Minute, 10*time.Minute, nil)
	f.toward(10*time.Minute, time.Hour, set{frame.Flue: 260, frame.Chamber: 600, frame.Firebox: 600, frame.Draft: 12, frame.Plenum: 50})
	before := f.tracker.Burn.Delivered
	f.toward(time.Hour, time.Hour, nil)
	got := (f.tracker.Burn.Delivered.Heat - before.Heat) / 3600
	// The air at 50 °C is thinner: 1.093 kg/m³ (353.05/323.15).
	if want := 1.093 * 1006 * 0.5 * 29.9; math.Abs(got-want) > 0.02*want {
		t.Errorf("%.0f W, want %.0f", got, want)
	}
}

// A chimney in the cold collects more than a warm one.
func TestColdWeatherAndSmoulderMakeCreosote(t *testing.T) {
	dose := func(outdoor, flue float64) burn.Creosote {
		f := newFire(t, burn.Site{})
		f.values[frame.Outdoor] = outdoor
		f.toward(time.Minute, 10*time.Minute, nil)
		f.toward(10*time.Minute, 3*time.Hour, set{frame.Flue: flue, frame.Draft: 10})
		return f.tracker.Burn.Creosote
	}
	mild, cold, hot := dose(10, 140), dose(-20, 140), dose(10, 300)
	if !(cold.Tar > mild.Tar && mild.Tar > hot.Tar && cold.Water > mild.Water) {
		t.Errorf("mild %+v, cold %+v, hot %+v", mild.Dose, cold.Dose, hot.Dose)
	}
	if mild.Typical != true {
		t.Error("the chimney is not known")
	}
}

// Where the site gives its chimney, its outdoor air and its draft, nothing is assumed.
func TestAKnownChimneyIsNotTypical(t *testing.T) {
	f := newFire(t, burn.Site{Flue: burn.TypicalFlue()})
	f.full()
	f.values[frame.Outdoor] = 0
	f.burnUp()
	if c := f.tracker.Burn.Creosote; c.Typical || c.Seen == 0 {
		t.Errorf("%+v", c)
	}
	wall, m, ok := f.tracker.Wall()
	if !ok || wall < 60 || wall > 220 || m.Water <= 0 {
		t.Errorf("wall %.0f °C, margins %+v, %v", wall, m, ok)
	}
}

// draw makes any frames at all, or such as a furnace might give.
func draw(t *rapid.T) []burn.Inputs {
	absurd := []float64{math.NaN(), math.Inf(1), math.Inf(-1), -1e300, 1e300, -273, 0, 0.25}
	n := rapid.IntRange(1, 300).Draw(t, "frames")
	out := make([]burn.Inputs, n)
	wild := rapid.Bool().Draw(t, "wild")
	var at time.Duration
	var now frame.Values
	for c := range now {
		now[c] = rapid.SampledFrom([]float64{math.NaN(), 20}).Draw(t, "first")
	}
	for i := range out {
		at += time.Duration(rapid.SampledFrom([]int64{1e8, 1e9, 5e9, 30e9, 300e9, 600e9, 3 * 3600e9}).Draw(t, "dt"))
		if wild && rapid.IntRange(0, 20).Draw(t, "jump") == 0 {
			at = time.Duration(rapid.Int64().Draw(t, "at"))
		}
		for c := range now {
			switch rapid.IntRange(0, 12).Draw(t, "how") {
			case 0:
				if wild {
					now[c] = rapid.SampledFrom(absurd).Draw(t, "absurd")
				}
			case 1, 2, 3:
				span := 700.0
				if frame.Channel(c) == frame.Draft {
					span = 30
				}
				now[c] = rapid.Float64Range(-10, span).Draw(t, "value")
			}
		}
		out[i] = burn.Inputs{At: at, Values: now}
	}
	return out
}

func TestSummaryProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		tr := burn.New(burn.Site{DraftLow: 8, DraftHigh: 14})
		low, high := math.Inf(1), math.Inf(-1)
		for _, in := range draw(t) {
			if d := in.Values[frame.Draft]; !math.IsNaN(d) {
				low, high = min(low, d), max(high, d)
			}
			ch := tr.Step(in)
			legal(t, tr, ch)
			if tr.Phase.Fire() {
				hull(t, &tr.Burn, low, high)
			}
			if ch.Ended {
				hull(t, &tr.Finished, low, high)
			}
		}
	})
}

// hull: a summary lies within what went in, and its times add up.
func hull(t interface{ Fatalf(string, ...any) }, b *burn.Summary, low, high float64) {
	var sum time.Duration
	for _, d := range b.In {
		if d < 0 {
			t.Fatalf("negative time in a phase: %v", b.In)
		}
		sum += d
	}
	if sum != b.End-b.Start || b.In[burn.Cold] != 0 || b.CleanBurn != b.In[burn.CleanBurn] {
		t.Fatalf("%v in phases, %v to %v", b.In, b.Start, b.End)
	}
	const ulps = 1 + 1e-9
	for _, v := range []float64{b.Draft.Least, b.Draft.Most, b.MeanDraft} {
		if !math.IsNaN(v) && (v > max(high, high*ulps)+1e-9 || v < min(low, low*ulps)-1e-9) {
			t.Fatalf("draft %g out of %g to %g", v, low, high)
		}
	}
	if b.Loads < 0 || b.Doors < 0 || b.Draft.Seen > sum || b.Draft.Below+b.Draft.Within+b.Draft.Above > b.Draft.Seen {
		t.Fatalf("%+v", b)
	}
	if b.Creosote.Seen > sum || b.Creosote.Smoke < 0 || b.FanOn.After < 0 || b.Clean.After < 0 || b.Clean.After > sum {
		t.Fatalf("%+v", b)
	}
}

// legal: what a tracker says makes sense, whatever it was given.
func legal(t interface{ Fatalf(string, ...any) }, tr *burn.Tracker, ch burn.Changes) {
	if ch.To != tr.Phase || ch.To == burn.Unknown && ch.From.Fire() && !ch.Ended {
		t.Fatalf("%+v in %v", ch, tr.Phase)
	}
	if d := tr.Door(); d.Open && d.Closed > d.At {
		t.Fatalf("open and shut: %+v", d)
	}
	if l, ok := tr.Load(); ok && (l.Known < l.At || l.Coals < 0 || l.Age < 0) {
		t.Fatalf("%+v", l)
	} else if ch.Loaded && !ok {
		t.Fatalf("loaded with nothing")
	}
	for _, v := range []float64{tr.Burn.Creosote.Tar, tr.Burn.Creosote.Water, tr.Burn.Delivered.Rise} {
		if math.IsNaN(v) {
			t.Fatalf("NaN in %+v", tr.Burn)
		}
	}
}

// The same frames give the same bits.
func TestDeterministic(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		frames := draw(t)
		a, b := burn.New(burn.Site{}), burn.New(burn.Site{})
		for _, in := range frames {
			if x, y := a.Step(in), b.Step(in); x != y {
				t.Fatalf("%+v and %+v", x, y)
			}
		}
	})
}

func FuzzStep(f *testing.F) {
	f.Add([]byte{0, 0, 0, 0, 20, 0, 0, 0, 0, 0, 3, 0})
	f.Fuzz(func(t *testing.T, data []byte) {
		tr := &burn.Tracker{}
		at := time.Duration(0)
		for len(data) >= 10 {
			at += time.Duration(int8(data[0])) * 7 * time.Second
			if data[0] == 127 {
				at = math.MaxInt64
			}
			in := burn.Inputs{At: at}
			for c := range in.Values {
				switch b := data[1+c]; b {
				case 255:
					in.Values[c] = math.NaN()
				case 254:
					in.Values[c] = math.Inf(1)
				case 253:
					in.Values[c] = -math.MaxFloat64
				default:
					in.Values[c] = float64(b)*4 - 50
				}
			}
			legal(t, tr, tr.Step(in))
			data = data[10:]
		}
	})
}

func TestNothingIsAllocated(t *testing.T) {
	f := newFire(t, burn.Site{})
	f.full()
	f.burnUp()
	in := burn.Inputs{At: f.at, Values: f.values}
	if n := testing.AllocsPerRun(2000, func() {
		in.At += time.Second
		f.tracker.Step(in)
	}); n != 0 {
		t.Errorf("%g allocations a step", n)
	}
}

func BenchmarkStep(b *testing.B) {
	tr := burn.New(burn.Site{})
	in := burn.Inputs{Values: frame.Values{500, 600, 250, 50, 20, 20, -5, 12, 98000}}
	b.ReportAllocs()
	for b.Loop() {
		in.At += time.Second
		tr.Step(in)
	}
}

// The dearest step is one in which the wall is worked out.
func BenchmarkWall(b *testing.B) {
	tr := burn.New(burn.Site{})
	in := burn.Inputs{Values: frame.Values{500, 600, 250, 50, 20, 20, -5, 12, 98000}}
	for b.Loop() {
		in.At += 10 * time.Second
		tr.Step(in)
	}
}
