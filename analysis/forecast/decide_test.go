package forecast_test

import (
	"math"
	"testing"
	"time"

	"fluewright/analysis/alarm"
	"fluewright/analysis/forecast"
)

// verdicts runs a judge over a course and returns what it said each second.
func verdicts(t *testing.T, c course, minutes int) []alarm.Verdict {
	t.Helper()
	j, err := forecast.New(forecast.Settings{Limit: limit, Lag: 30})
	if err != nil {
		t.Fatal(err)
	}
	all := make([]alarm.Verdict, minutes*60)
	for i := range all {
		at := time.Duration(i) * time.Second
		all[i] = j.Step(forecast.Inputs{At: at, Value: c(at.Minutes()) + noise(at), Room: 20}).Verdict
	}
	return all
}

// raisings counts how often an alarm would have been raised that ignores 10 s and is taken
// back after 2 min without reason, and says whether it stands in the end.
func raisings(all []alarm.Verdict) (n int, stands bool) {
	present, absent := 0, 0
	for _, v := range all {
		switch v {
		case alarm.Present:
			present, absent = present+1, 0
		case alarm.Absent:
			present, absent = 0, absent+1
		default:
			present, absent = 0, 0
		}
		switch {
		case !stands && present > 10:
			n, stands = n+1, true
		case stands && absent > 120:
			stands = false
		}
	}
	return n, stands
}

// A piece that catches fire lifts the flue by a tenth of the limit within a minute or so,
// and no further.
func TestABurstIsNoRunaway(t *testing.T) {
	// burst rises from 200 °C to a level, then by so many K a minute for so long, and stays.
	burst := func(slope, level, steep, minutes float64) course {
		top := level + steep*minutes
		return after(ramp(200, 0), 5, after(ramp(200, slope), (level-200)/slope,
			after(ramp(level, steep), minutes, approach(top, top+8, 1))))
	}
	for name, c := range map[string]course{
		"steep, in a slow rise": burst(6, 380, 60, 1.3),
		"milder and longer":     burst(6, 380, 35, 1.6),
		"hot and short":         burst(10, 410, 35, 0.7),
		"in an ordinary rise":   burst(10, 380, 45, 1.3),
		"in a quick rise":       burst(15, 380, 35, 1.6),
		"late in a light-off":   after(approach(20, 430, 6), 14, after(ramp(390, 30), 1.2, approach(426, 440, 3))),
	} {
		if n, _ := raisings(verdicts(t, c, 45)); n != 0 {
			t.Errorf("%s: raised %d times", name, n)
		}
	}
}

// A limit that is a minute away is told without waiting.
func TestAQuickRiseIsToldAtOnce(t *testing.T) {
	const start, slope = 10, 150.0 // K/min from 250 °C: passes after 1.92 min
	all := verdicts(t, after(ramp(250, 0), start, ramp(250, slope)), 12)
	first := 0
	for first < len(all) && all[first] != alarm.Present {
		first++
	}
	if lead := (start+(limit-250)/slope)*60 - float64(first); lead < 35 {
		t.Errorf("present %.0f s before the limit, want 35", lead)
	}
}

// What hesitates for two minutes and goes on is one alarm and not two.
func TestARiseThatHesitatesIsToldOnce(t *testing.T) {
	c := after(ramp(250, 0), 10, after(ramp(250, 25), 9.6, after(ramp(490, 0.3), 4, ramp(491, 25))))
	if n, stands := raisings(verdicts(t, c, 26)); n != 1 || !stands {
		t.Errorf("raised %d times, stands %v", n, stands)
	}
}

func TestARunawayIsOver(t *testing.T) {
	rise := func(then course) course { return after(ramp(250, 0), 10, after(ramp(250, 25), 9.6, then)) }
	tests := map[string]struct {
		course course
		within int // minutes after the turn
	}{
		"when it has turned":           {rise(ramp(490, -15)), 6},
		"when it stays where it came":  {rise(ramp(490, 0)), 14},
		"when it wavers below a limit": {rise(approach(490, 500, 5)), 16},
	}
	for name, tt := range tests {
		n, stands := raisings(verdicts(t, tt.course, 20+tt.within))
		if n != 1 || stands {
			t.Errorf("%s: raised %d times, stands %v", name, n, stands)
		}
	}
}

// Above the limit the forecast has come true: on the way down it is not told again.
func TestWhatCameTrueIsNotToldAgain(t *testing.T) {
	c := after(ramp(250, 0), 10, after(ramp(250, 25), 11.7, after(ramp(542.5, -4), 3, ramp(530.5, 0))))
	all := verdicts(t, c, 32)
	for i, v := range all[29*60:] {
		if v != alarm.Absent {
			t.Fatalf("%d s after it settled below the limit: %v", i+3*60, v)
		}
	}
}

// Frames out of order change nothing of what is said, and when.
func TestFramesOutOfOrderAreNoTime(t *testing.T) {
	c := after(ramp(250, 0), 10, ramp(250, 20))
	first := func(disorder bool) int {
		j, err := forecast.New(forecast.Settings{Limit: limit, Lag: 30})
		if err != nil {
			t.Fatal(err)
		}
		for i := range 25 * 60 {
			at := time.Duration(i) * time.Second
			f := j.Step(forecast.Inputs{At: at, Value: c(at.Minutes()), Room: 20})
			if f.Verdict == alarm.Present {
				return i
			}
			if disorder && i%20 == 0 && i > 60 {
				j.Step(forecast.Inputs{At: at - 50*time.Second, Value: c(at.Minutes()), Room: 20})
			}
		}
		return -1
	}
	if a, b := first(false), first(true); a < 0 || a != b {
		t.Errorf("present at %d s, out of order at %d s", a, b)
	}
}

// A poke takes the flue down for seconds. What comes back, and the sheath behind it, is as
// steep as no fire.
func TestAPokeIsNoRunaway(t *testing.T) {
	for _, seconds := range []float64{5, 15, 40} {
		c := func(m float64) float64 {
			level, s := 330+2*m, 60*(m-12)
			switch {
			case s < 0:
				return level
			case s < seconds:
				return level - 80*(1-math.Exp(-s/4))
			}
			return level - 80*math.Exp(-(s-seconds)/8)
		}
		if n, _ := raisings(verdicts(t, c, 20)); n != 0 {
			t.Errorf("for %.0f s: raised %d times", seconds, n)
		}
	}
}

// A fire that was near the limit before wood was laid on may run away below where it was.
func TestARunawayBelowALevelThatWasHeld(t *testing.T) {
	const slope = 100.0 // K/min from 400 °C, 15 min on: passes after 1.38 min
	c := after(ramp(490, 1), 10, after(approach(500, 400, 0.3), 5, ramp(400, slope)))
	all := verdicts(t, c, 18)
	first := 12 * 60
	for first < len(all) && all[first] != alarm.Present {
		first++
	}
	if lead := (15+(limit-400)/slope)*60 - float64(first); lead < 35 {
		t.Errorf("present %.0f s before the limit, want 35", lead)
	}
}
