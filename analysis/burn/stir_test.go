package burn_test

import (
	"math"
	"testing"
	"time"

	"fluewright/analysis/burn"
	"fluewright/analysis/frame"
)

// afterwards is a furnace that has burnt and is cold.
func afterwards(t *testing.T) *fire {
	f := newFire(t, burn.Site{})
	f.full()
	f.noise = 0.3
	f.burnUp()
	f.burnDown()
	f.goOut()
	if f.tracker.Phase != burn.Cold {
		t.Fatalf("%v to begin with", f.tracker.Phase)
	}
	return f
}

// Wood that smoulders on embers is a fire before the flue is warm; what else warms a probe
// is none.
func TestEmbersLightWoodSlowly(t *testing.T) {
	for name, tt := range map[string]struct {
		to   set
		fire bool
	}{
		"it smoulders":              {set{frame.Firebox: 80, frame.Chamber: 90, frame.Flue: 42, frame.Draft: 6}, true},
		"a probe in warm brick":     {set{frame.Firebox: 30, frame.Chamber: 90, frame.Flue: 22}, false},
		"the flue's neighbour":      {set{frame.Flue: 45}, false},
		"the room is heated":        {set{frame.Firebox: 40, frame.Chamber: 40, frame.Flue: 32, frame.Room: 26}, false},
		"an afternoon in the sun":   {set{frame.Firebox: 45, frame.Chamber: 45, frame.Flue: 24}, false},
		"draught through the grate": {set{frame.Draft: 12}, false},
	} {
		t.Run(name, func(t *testing.T) {
			f := afterwards(t)
			f.toward(20*time.Minute, 50*time.Minute, tt.to)
			if got := f.tracker.Phase.Fire(); got != tt.fire {
				t.Errorf("%v", f.tracker.Phase)
			}
		})
	}
}

// A furnace in a workshop goes with its days and seasons.
func TestDaysAreNoFire(t *testing.T) {
	f := afterwards(t)
	f.every = time.Minute
	for range 4 {
		f.toward(3*time.Hour, 10*time.Hour, set{frame.Firebox: -5, frame.Chamber: -5, frame.Flue: -5, frame.Room: -5})
		f.toward(6*time.Hour, 14*time.Hour, set{frame.Firebox: 40, frame.Chamber: 40, frame.Flue: 40, frame.Room: 40})
	}
	if len(f.phases) > 0 && f.phases[len(f.phases)-1] != burn.Cold {
		t.Errorf("%v", f.phases)
	}
}

// A slow fire is not out while it goes on, while a reading is missing, or while the chimney
// does not draw; when it has gone back to where it came from it is.
func TestASlowFireGoesOn(t *testing.T) {
	slow := func(t *testing.T) *fire {
		f := afterwards(t)
		f.toward(20*time.Minute, 50*time.Minute, set{frame.Firebox: 80, frame.Chamber: 90, frame.Flue: 36, frame.Draft: 6})
		if !f.tracker.Phase.Fire() {
			t.Fatalf("%v to begin with", f.tracker.Phase)
		}
		return f
	}
	for name, tt := range map[string]struct {
		then func(*fire)
		fire bool
	}{
		"it goes on": {func(f *fire) { f.toward(time.Minute, time.Hour, nil) }, true},
		"readings are lost now and then": {func(f *fire) {
			for range 30 {
				c := f.values[frame.Chamber]
				f.values[frame.Chamber] = math.NaN()
				f.step()
				f.values[frame.Chamber] = c
				f.toward(time.Minute, time.Minute, nil)
			}
		}, true},
		"the draft turns and cools it": {func(f *fire) {
			f.toward(4*time.Second, time.Minute, set{frame.Draft: -6})
			f.toward(5*time.Minute, time.Hour, set{frame.Firebox: 45, frame.Chamber: 35, frame.Flue: 20})
		}, true},
		"it goes out": {func(f *fire) {
			f.toward(10*time.Minute, time.Hour, set{frame.Firebox: 30, frame.Chamber: 30, frame.Flue: 20})
		}, false},
	} {
		t.Run(name, func(t *testing.T) {
			f := slow(t)
			burns := len(f.burns)
			tt.then(f)
			if got := f.tracker.Phase.Fire(); got != tt.fire {
				t.Errorf("%v", f.tracker.Phase)
			}
			if ended := len(f.burns) - burns; ended > 0 == tt.fire {
				t.Errorf("%d burns ended", ended)
			}
		})
	}
}
