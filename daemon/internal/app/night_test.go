package app

import (
	"testing"
	"testing/synctest"
	"time"

	"fluewright/sensors/bench"
)

// The bench's night has a clean burn, reloads, a regulator that sticks, a turned draft and
// a wire that comes off: none of it is an implausible reading.
func TestANightIsPlausible(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		r := newRig(t)
		at := time.Duration(0)
		for _, s := range bench.Night().Steps {
			r.run(s.At - at)
			at = s.At
			if _, err := r.bench.Do(s.Do); err != nil {
				t.Fatal(err)
			}
		}
		r.run(3*time.Hour - at)
		for alarm, since := range r.first {
			t.Logf("%v %v", since.Round(time.Second), alarm)
			if alarm == "sensor-implausible/draft" || alarm == "sensor-implausible/flue" || alarm == "sensor-implausible/chamber" {
				t.Errorf("%s after %v", alarm, since)
			}
		}
		if _, ok := r.first["overheat/chamber"]; !ok {
			t.Error("the night's overheat was not seen: is this the night?")
		}
		for _, s := range r.last.Sensors {
			if s.Path.Spikes > 0 || s.Path.Frozen > 0 || s.Path.Jumps > 0 {
				t.Errorf("%s: %+v of nothing that was wrong", s.Name, s.Path)
			}
		}
	})
}
