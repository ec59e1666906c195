package forecast_test

import (
	"math"
	"testing"
	"time"

	"fluewright/analysis/alarm"
	"fluewright/analysis/forecast"
)

// evening is a course with what drives it.
type evening struct {
	course
	draft  func(min float64) float64 // Pa; nil for none
	driven bool
	every  time.Duration
	gap    [2]float64 // minutes without a frame
}

// lead is how many minutes before the limit the climb was said to last, negative for never.
func (e evening) lead(t *testing.T) float64 {
	t.Helper()
	j, err := forecast.New(forecast.Settings{Limit: limit})
	if err != nil {
		t.Fatal(err)
	}
	said := -1.0
	for at := time.Duration(0); at < 2*time.Hour; at += e.every {
		m := at.Minutes()
		v := e.course(m)
		if v > limit {
			return max(-1, m-said) * math.Copysign(1, said)
		}
		if m > e.gap[0] && m < e.gap[1] {
			continue
		}
		in := forecast.Inputs{At: at, Value: math.Round(4*(v+noise(at))) / 4, Room: 20, Draft: math.NaN(), Driven: e.driven}
		if e.draft != nil {
			in.Draft = e.draft(m)
		}
		if f := j.Step(in); f.Lasting && said < 0 {
			if f.Verdict != alarm.Present || !f.Passes || f.At <= at {
				t.Errorf("minute %.1f: lasting, but %+v", m, f)
			}
			said = m
		}
	}
	if said >= 0 {
		t.Errorf("said at minute %.1f, and the limit was never passed", said)
	}
	return -1
}

// steps is a draft that stands at one value, and from a minute on at another.
func steps(from, at, to float64) func(float64) float64 {
	return func(m float64) float64 {
		if m < at {
			return from
		}
		return to
	}
}

// What has climbed for long enough is told 5 to 10 min before the limit, also through waves;
// where the reason shows, it need not last so long.
func TestAClimbThatLasts(t *testing.T) {
	wavy := func(c course, high, minutes float64) course {
		return func(m float64) float64 { return c(m) + high*math.Sin(2*math.Pi*m/minutes) }
	}
	plateau := func(slope float64) course { return after(ramp(440, 0), 30, ramp(440, slope)) }
	for name, e := range map[string]evening{
		"slow":                    {course: ramp(300, 5), every: time.Second},
		"slow, every 5 s":         {course: ramp(300, 5), every: 5 * time.Second},
		"slow, every 50 s":        {course: ramp(300, 5), every: 50 * time.Second},
		"a piece falls":           {course: wavy(ramp(300, 5), 1, 9), every: time.Second},
		"a gap in good time":      {course: ramp(300, 5), every: time.Second, gap: [2]float64{5, 15}},
		"a draft above the band":  {course: plateau(6), every: time.Second, driven: true},
		"air that was let in":     {course: plateau(8), every: time.Second, draft: steps(12, 30, 9)},
		"air, seen every 5 s too": {course: plateau(8), every: 5 * time.Second, draft: steps(12, 30, 9)},
	} {
		if lead := e.lead(t); !(lead >= 4.5 && lead <= 10) {
			t.Errorf("%s: told %.1f min before the limit", name, lead)
		}
	}
}

// What may end soon is left to the quick look.
func TestAClimbThatHasNotLasted(t *testing.T) {
	plateau := after(ramp(440, 0), 30, ramp(440, 8))
	for name, e := range map[string]evening{
		"no reason, and new":        {course: plateau, every: time.Second},
		"the draft is as it was":    {course: plateau, every: time.Second, draft: steps(12, 0, 12)},
		"the draft rises with it":   {course: plateau, every: time.Second, draft: steps(12, 30, 14)},
		"a draft of next to none":   {course: plateau, every: time.Second, draft: steps(0.5, 30, 0.1)},
		"it flattens":               {course: approach(100, 530, 12), every: time.Second},
		"it flattens below a limit": {course: approach(20, 500, 20), every: 5 * time.Second},
		"a door was open":           {course: dip(ramp(300, 5), 34, 40), every: time.Second},
		"it creeps":                 {course: ramp(470, 0.5), every: time.Second},
		"nobody saw how it began":   {course: ramp(300, 5), every: time.Second, gap: [2]float64{30, 40}},
	} {
		if lead := e.lead(t); lead >= 0 {
			t.Errorf("%s: told %.1f min before the limit", name, lead)
		}
	}
}
