package forecast_test

import (
	"math"
	"testing"
	"time"

	"fluewright/analysis/alarm"
	"fluewright/analysis/forecast"
)

// site is a channel whose rises are played one after the other.
type site struct {
	t     *testing.T
	judge *forecast.Judge
	at    time.Duration
}

func newSite(t *testing.T) *site {
	t.Helper()
	j, err := forecast.New(forecast.Settings{Limit: limit})
	if err != nil {
		t.Fatal(err)
	}
	return &site{t: t, judge: j}
}

// rise climbs from 250 °C by so many K a minute to a level and cools down again. It returns
// the level at which a runaway was first called, NaN for none.
func (s *site) rise(slope, top float64) (called float64) {
	s.t.Helper()
	called = math.NaN()
	const cold = 250.0
	up := (top - cold) / slope
	c := after(ramp(cold, 0), 10, after(ramp(cold, slope), up, after(approach(top, top+2, 1), 6, approach(top, cold, 12))))
	for m := time.Duration(0); m.Minutes() < 10+up+60; m += time.Second {
		f := s.judge.Step(forecast.Inputs{At: s.at, Value: c(m.Minutes()) + noise(m), Room: 20})
		s.at += time.Second
		if f.Verdict == alarm.Present && math.IsNaN(called) {
			called = c(m.Minutes())
		}
	}
	return called
}

// What this furnace's rises came to says what to expect of one like them, and nothing of
// one beyond them.
func TestTheFurnacesOwnPast(t *testing.T) {
	const peak = 515.0
	s := newSite(t)
	first := s.rise(18, peak)
	if math.IsNaN(first) {
		t.Fatal("a rise to just below the limit was not called where nothing was known")
	}
	for range 6 {
		s.rise(18, peak)
	}
	if got := s.rise(18, peak); got <= first {
		t.Errorf("the same rise for the eighth time: called at %.0f °C, the first at %.0f °C", got, first)
	}

	// A restart forgets nothing.
	next := newSite(t)
	next.judge.Restore(s.judge.Memory())
	if got, want := next.rise(18, peak), s.rise(18, peak); got != want && (math.IsNaN(got) != math.IsNaN(want) || math.Abs(got-want) > 5) {
		t.Errorf("after a restart: called at %.0f °C, without one at %.0f °C", got, want)
	}

	// One that passes is called before it does, however often others did not.
	if got := s.rise(18, limit+40); !(got < limit-5) {
		t.Errorf("a rise beyond the limit was called at %.0f °C", got)
	}
	if got, alone := s.rise(45, limit+40), newSite(t).rise(45, limit+40); !(got <= alone+5) {
		t.Errorf("a steeper rise than any was called at %.0f °C, where nothing was known at %.0f °C", got, alone)
	}
}

// What a steep rise came to is not forgotten over the many small ones of a fire that flickers.
func TestSmallRisesPushNothingOut(t *testing.T) {
	const peak = 515.0
	s := newSite(t)
	for range 6 {
		s.rise(18, peak)
	}
	known := s.rise(18, peak)
	for range 30 {
		if got := s.rise(4, 400); !math.IsNaN(got) {
			t.Fatalf("a small rise was called at %.0f °C", got)
		}
	}
	if got := s.rise(18, peak); math.Abs(got-known) > 5 && !(math.IsNaN(got) && math.IsNaN(known)) {
		t.Errorf("after thirty small rises: called at %.0f °C, before them at %.0f °C", got, known)
	}
}

// A climb that lasts is called where it goes on, and not any more where it has ended as often
// as the furnace remembers; nor in the minute after it has bent.
func TestALastingClimbHasAPastToo(t *testing.T) {
	climb := func(s *site, top float64) (called float64) {
		s.t.Helper()
		called = math.NaN()
		const cold, slope = 250.0, 6.0
		up := (top - cold) / slope
		c := after(ramp(cold, slope), up, approach(top, cold, 10))
		for m := time.Duration(0); m.Minutes() < up+60; m += time.Second {
			f := s.judge.Step(forecast.Inputs{At: s.at, Value: c(m.Minutes()) + noise(m), Room: 20, Draft: 30, Driven: true})
			s.at += time.Second
			if f.Lasting && math.IsNaN(called) {
				called = c(m.Minutes())
			}
			if f.Lasting && m.Minutes() > up+0.75 {
				s.t.Fatalf("it lasts, %.1f min after it turned", m.Minutes()-up)
			}
		}
		return called
	}
	const top = limit - 35
	s := newSite(t)
	first := climb(s, top)
	if math.IsNaN(first) {
		t.Fatal("a climb that lasts was not called where nothing was known")
	}
	for range 6 {
		climb(s, top)
	}
	if got := climb(s, top); got <= first+8 {
		t.Errorf("the same climb for the eighth time: called at %.0f °C, the first at %.0f °C", got, first)
	}
	if got := climb(s, limit+40); !(got < limit-5) {
		t.Errorf("one that goes beyond the limit was called at %.0f °C", got)
	}
}

func TestRestoreRefusesNonsense(t *testing.T) {
	s := newSite(t)
	s.rise(18, 480)
	kept := s.judge.Memory()
	if kept == (forecast.Memory{}) {
		t.Fatal("nothing is remembered of a rise")
	}
	for name, spoil := range map[string]func(*forecast.Memory){
		"a NaN":           func(m *forecast.Memory) { m.Passes[3][2].Slope = math.NaN() },
		"an infinity":     func(m *forecast.Memory) { m.Passes[3][2].Slope = math.Inf(1) },
		"a falling rise":  func(m *forecast.Memory) { m.Passes[0][0].Slope = -1 },
		"a place too far": func(m *forecast.Memory) { m.Oldest[8] = 99 },
		"one before all":  func(m *forecast.Memory) { m.Oldest[0] = -1 },
	} {
		m := kept
		spoil(&m)
		s.judge.Restore(m)
		if s.judge.Memory() != (forecast.Memory{}) {
			t.Errorf("%s was taken over", name)
		}
	}
	s.judge.Restore(kept)
	if s.judge.Memory() != kept {
		t.Error("what was kept is not restored")
	}
}
