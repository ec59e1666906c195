package plausible_test

import (
	"math"
	"slices"
	"testing"
	"time"

	"fluewright/analysis/burn"
	"fluewright/analysis/frame"
	"fluewright/analysis/internal/noise"
	"fluewright/analysis/plausible"

	"pgregory.net/rapid"
)

// house is a furnace twice a second.
type house struct {
	rules plausible.Rules
	in    plausible.Inputs
	found plausible.Findings
	rng   noise.Source
	// moves is the draft's movement, Pa.
	moves float64
	level float64
}

func newHouse() *house {
	h := &house{rng: 1, moves: 0.25}
	for c := range h.in.Values {
		h.in.Values[c] = math.NaN()
	}
	h.set(frame.Room, 18)
	h.set(frame.Flue, 250)
	h.in.Phase = burn.CleanBurn
	h.level = 12
	return h
}

func (h *house) set(c frame.Channel, v float64) { h.in.Values[c] = v }

func (h *house) run(d time.Duration) {
	for range int(d / (500 * time.Millisecond)) {
		h.set(frame.Draft, h.level+h.moves*h.rng.Normal()+0.02*h.rng.Normal())
		h.found = h.rules.Step(h.in)
		h.in.At += 500 * time.Millisecond
	}
}

// toward lets a channel follow what is around its probe.
func (h *house) toward(c frame.Channel, around float64, tau, d time.Duration) {
	for range int(d / time.Second) {
		h.in.Values[c] += (around - h.in.Values[c]) * -math.Expm1(-1/tau.Seconds())
		h.run(time.Second)
	}
}

func TestFindings(t *testing.T) {
	tests := map[string]struct {
		do      func(*house)
		channel frame.Channel
		want    string
	}{
		"a flue probe pulled out beside a fire": {
			func(h *house) { h.toward(frame.Flue, 18, 90*time.Second, 5*time.Minute) },
			frame.Flue, plausible.ProbeOut,
		},
		"a thin one": {
			func(h *house) { h.toward(frame.Flue, 18, 11*time.Second, time.Minute) },
			frame.Flue, plausible.ProbeOut,
		},
		"it stays so: nobody else knows whether the fire is out": {
			func(h *house) {
				h.toward(frame.Flue, 18, 90*time.Second, 5*time.Minute)
				h.run(5 * time.Hour)
			},
			frame.Flue, plausible.ProbeOut,
		},
		"put back": {
			func(h *house) {
				h.toward(frame.Flue, 18, 35*time.Second, 5*time.Minute)
				h.toward(frame.Flue, 250, 35*time.Second, time.Minute)
			},
			frame.Flue, "",
		},
		"the other probe has long been cold too": {
			func(h *house) {
				h.set(frame.Chamber, 600)
				h.toward(frame.Flue, 18, 35*time.Second, 5*time.Minute)
				h.toward(frame.Chamber, 18, 30*time.Minute, 3*time.Hour)
			},
			frame.Flue, "",
		},
		"a furnace that cools with the blower on": {
			func(h *house) { h.toward(frame.Flue, 18, 240*time.Second, time.Hour) },
			frame.Flue, "",
		},
		"a flue that never warms beside a hot chamber": {
			func(h *house) {
				h.set(frame.Flue, 25)
				h.set(frame.Chamber, 600)
				h.run(11 * time.Minute)
			},
			frame.Flue, plausible.ProbeOut,
		},
		"a flue that is slow to warm": {
			func(h *house) {
				h.set(frame.Flue, 25)
				h.set(frame.Chamber, 600)
				h.run(8 * time.Minute)
				h.set(frame.Flue, 60)
				h.run(8 * time.Minute)
			},
			frame.Flue, "",
		},
		"a cold chamber before a hot flue": {
			func(h *house) { h.set(frame.Chamber, 25); h.run(11 * time.Minute) },
			frame.Chamber, plausible.ProbeOut,
		},
		"an ordinary draft": {
			func(h *house) { h.run(time.Hour) },
			frame.Draft, "",
		},
		"the hose comes off": {
			func(h *house) {
				h.run(10 * time.Minute)
				h.level, h.moves = 0, 0
				h.run(35 * time.Second)
			},
			frame.Draft, plausible.HoseOff,
		},
		"and back on": {
			func(h *house) {
				h.run(10 * time.Minute)
				h.level, h.moves = 0, 0
				h.run(35 * time.Second)
				h.level, h.moves = 12, 0.25
				h.run(time.Second)
			},
			frame.Draft, "",
		},
		"a chimney that stalls": {
			func(h *house) {
				for h.level > 0 {
					h.level -= 0.1
					h.run(time.Second)
				}
				h.run(time.Minute)
			},
			frame.Draft, "",
		},
		"a gust that turns the draft": {
			func(h *house) {
				h.run(time.Minute)
				h.level = -8
				h.run(30 * time.Second)
			},
			frame.Draft, "",
		},
		"a hose on the wrong port, or a turned draft": {
			func(h *house) { h.level = -12; h.run(2 * time.Minute) },
			frame.Draft, plausible.HoseSwapped,
		},
		"a hose that soot closes": {
			func(h *house) {
				h.run(10 * time.Minute)
				for range 300 {
					h.level, h.moves = h.level*0.98, h.moves*0.98
					h.run(time.Second)
				}
				h.run(5 * time.Minute)
			},
			frame.Draft, plausible.TubeBlocked,
		},
		"closed with its pressure in it": {
			func(h *house) { h.run(10 * time.Minute); h.moves = 0; h.run(10 * time.Minute) },
			frame.Draft, plausible.TubeBlocked,
		},
		"a log without noise": {
			func(h *house) { h.moves = 0; h.run(time.Minute); h.level = 17; h.run(time.Hour) },
			frame.Draft, "",
		},
		"a cold chimney draws": {
			func(h *house) { h.cold(); h.level = 9; h.run(time.Hour) },
			frame.Draft, "",
		},
		"a cold chimney does not draw that much": {
			func(h *house) { h.cold(); h.set(frame.Outdoor, 15); h.level = 6; h.run(time.Hour) },
			frame.Draft, plausible.ZeroDrift,
		},
		"on a cold day it may": {
			func(h *house) { h.cold(); h.set(frame.Outdoor, -10); h.level = 6; h.run(time.Hour) },
			frame.Draft, "",
		},
		"nor, whatever the day, so much": {
			func(h *house) { h.cold(); h.level = 35; h.run(time.Hour) },
			frame.Draft, plausible.ZeroDrift,
		},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			h := newHouse()
			h.run(time.Minute)
			tt.do(h)
			if got := h.found[tt.channel]; got != tt.want {
				t.Errorf("%v: %q, want %q", tt.channel, got, tt.want)
			}
			for c, code := range h.found {
				if code != "" && frame.Channel(c) != tt.channel {
					t.Errorf("%v too: %q", frame.Channel(c), code)
				}
			}
		})
	}
}

func (h *house) cold() {
	h.set(frame.Flue, 20)
	h.in.Phase = burn.Cold
	h.moves = 0.1
	h.rules = plausible.Rules{}
}

// 12 m of air at 18 °C draw 15.18 Pa at −10 °C outdoors: 9.80665·12·353.05·(1/263.15 −
// 1/291.15) worked by hand; with the wind's 3 Pa the bound is 18.2 Pa.
func TestColdDraftIsPhysics(t *testing.T) {
	for level, want := range map[float64]string{17.9: "", 18.5: plausible.ZeroDrift} {
		h := newHouse()
		h.cold()
		h.set(frame.Outdoor, -10)
		h.level, h.moves = level, 0
		h.run(time.Hour)
		if got := h.found[frame.Draft]; got != want {
			t.Errorf("%g Pa: %q, want %q", level, got, want)
		}
	}
}

// Any inputs, in any order of time: no panic, only codes that are listed, and only on
// channels that are listed and have a value.
func TestOnlyWhatIsListed(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var r plausible.Rules
		in := plausible.Inputs{}
		for range rapid.IntRange(1, 100).Draw(t, "frames") {
			in.At += time.Duration(rapid.Int64Range(-5e9, 200e9).Draw(t, "dt"))
			in.Phase = rapid.SampledFrom(burn.Phases()).Draw(t, "phase")
			for c := range in.Values {
				in.Values[c] = rapid.SampledFrom([]float64{math.NaN(), -1e300, -12, 0, 0.1, 20, 150, 600, 1e300, math.Inf(1)}).Draw(t, "value")
			}
			for c, code := range r.Step(in) {
				if code == "" {
					continue
				}
				if !slices.Contains(plausible.Channels(), frame.Channel(c)) || !slices.Contains(plausible.Codes(), code) || math.IsNaN(in.Values[c]) {
					t.Fatalf("%v: %q at %v", frame.Channel(c), code, in.Values[c])
				}
			}
			for c := range frame.Count { // nobody is in two places
				if at := r.Place(c); at >= frame.Count || r.Place(at) != c {
					t.Fatalf("%v is at %v, and that at %v", c, at, r.Place(at))
				}
			}
		}
	})
}

// A reading that is gone cannot be wrong, however bad it was the moment before.
func TestNothingIsSaidOfAReadingThatIsGone(t *testing.T) {
	said := false
	for name, readings := range map[string][]map[frame.Channel]float64{
		"two channels that changed places": {{frame.Return: -12, frame.Outdoor: 600}, {frame.Return: 600, frame.Outdoor: -12}},
		"a probe that fell out":            {{frame.Firebox: 150}, {frame.Firebox: -12}},
	} {
		for _, held := range []time.Duration{0, time.Nanosecond, time.Second, 30 * time.Minute} {
			var r plausible.Rules
			in := plausible.Inputs{Phase: burn.Cold}
			show := func(values map[frame.Channel]float64) plausible.Findings {
				for c := range in.Values {
					in.Values[c] = math.NaN()
				}
				for c, v := range values {
					in.Values[c] = v
				}
				return r.Step(in)
			}
			for i, values := range readings {
				if show(values); i == 0 {
					in.At += held
				}
			}
			for begun := in.At; in.At < begun+held; in.At += time.Second {
				said = said || show(readings[1]) != (plausible.Findings{})
			}
			for c, code := range show(nil) {
				if code != "" {
					t.Errorf("%s, held for %v: %v is %q", name, held, frame.Channel(c), code)
				}
			}
		}
	}
	if !said {
		t.Error("nothing was found while the readings were there: this proves nothing")
	}
}
