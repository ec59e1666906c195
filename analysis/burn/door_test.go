package burn_test

import (
	"testing"
	"time"

	"fluewright/analysis/burn"
	"fluewright/analysis/frame"
)

// reload opens the door and lays on dry wood that burns up to the temperatures given.
func (f *fire) reload(to map[frame.Channel]float64) {
	f.door(45 * time.Second)
	f.toward(6*time.Minute, 40*time.Minute, to)
}

var hotAgain = set{frame.Firebox: 620, frame.Chamber: 640, frame.Flue: 270, frame.Draft: 14}

func TestReloadOntoCoals(t *testing.T) {
	for name, channels := range subsets {
		for _, every := range []time.Duration{100 * time.Millisecond, time.Second, 5 * time.Second} {
			t.Run(name+" "+every.String(), func(t *testing.T) {
				f := newFire(t, burn.Site{})
				f.fit(channels)
				f.every, f.noise = every, 0.5
				f.burnUp()
				f.burnDown()
				coals := f.tracker.Since
				if f.tracker.Phase != burn.Coals {
					t.Fatalf("%v to begin with", f.tracker.Phase)
				}
				opened := f.at
				before := f.values
				f.reload(hotAgain)
				if len(f.loads) != 2 {
					t.Fatalf("%d loads: %+v", len(f.loads), f.loads)
				}
				l := f.loads[1]
				if off := l.At - opened; off < -15*time.Second || off > 4*time.Minute {
					t.Errorf("laid on %v off", off)
				}
				if late := l.Known - opened; late > 7*time.Minute {
					t.Errorf("known after %v", late)
				}
				if l.Cold || l.Coals < opened-coals-time.Minute || l.Age <= 0 {
					t.Errorf("%+v", l)
				}
				if d := l.Flue - before[frame.Flue]; d < -5 || d > 5 {
					t.Errorf("the flue was at %.0f, not %.0f", before[frame.Flue], l.Flue)
				}
				if len(f.burns) != 1 || f.tracker.Burn.Kind != burn.OnCoals || f.tracker.Burn.Loads != 1 {
					t.Errorf("%d burns ended; %+v", len(f.burns), f.tracker.Burn)
				}
				f.goOut()
				if len(f.burns) != 2 || f.burns[0].End != f.burns[1].Start {
					t.Errorf("%d burns in the end", len(f.burns))
				}
			})
		}
	}
}

// A load on flames is the same burn's.
func TestReloadOntoFlames(t *testing.T) {
	f := newFire(t, burn.Site{})
	f.full()
	f.burnUp()
	f.reload(set{frame.Firebox: 680, frame.Chamber: 700, frame.Flue: 320, frame.Draft: 15})
	if len(f.loads) != 2 || f.loads[1].Coals != 0 || f.tracker.Burn.Loads != 2 || len(f.burns) != 0 {
		t.Errorf("loads %+v, burns %+v", f.loads, f.burns)
	}
}

// Wet wood keeps the fire cold for long after the door was shut.
func TestAColdLoadIsKnownByTheChill(t *testing.T) {
	f := newFire(t, burn.Site{})
	f.full()
	f.burnUp()
	f.burnDown()
	f.toward(20*time.Minute, time.Hour, set{frame.Firebox: 230, frame.Chamber: 240, frame.Flue: 90})
	f.door(45 * time.Second)
	f.toward(10*time.Minute, 10*time.Minute, set{frame.Firebox: 130, frame.Chamber: 140, frame.Flue: 60})
	if len(f.loads) != 2 {
		t.Errorf("loads %+v", f.loads)
	}
}

func TestAPokeIsNoLoad(t *testing.T) {
	for name, channels := range subsets {
		if name == "flue alone" {
			continue // it may look like anything
		}
		t.Run(name, func(t *testing.T) {
			f := newFire(t, burn.Site{})
			f.fit(channels)
			f.noise = 0.5
			f.burnUp()
			at := f.at
			f.poke(30 * time.Second)
			if f.opened != 1 || len(f.doors) != 1 {
				t.Fatalf("door opened %d times, shut %d", f.opened, len(f.doors))
			}
			d := f.doors[0]
			if off := d.At - at; off < 0 || off > 10*time.Second {
				t.Errorf("opened %v late", off)
			}
			if off := d.Closed - at - 30*time.Second; off < -5*time.Second || off > 10*time.Second {
				t.Errorf("shut %v late", off)
			}
			f.burnDown()
			f.poke(30 * time.Second)
			f.toward(40*time.Minute, 30*time.Minute, set{frame.Firebox: 100, frame.Chamber: 100, frame.Flue: 60})
			if len(f.loads) != 1 {
				t.Errorf("loads %+v", f.loads)
			}
			if f.opened != 2 || f.tracker.Burn.Doors != 2 {
				t.Errorf("door opened %d times, %d in the summary", f.opened, f.tracker.Burn.Doors)
			}
		})
	}
}

// Beside a wide open door the draft may be gone as far as a sensor can tell; a draft that stopped
// leaves the firebox as hot as it was, whatever comes down the chimney.
func TestADoorThatLeavesNoDraft(t *testing.T) {
	tests := map[string]struct {
		draft        float64
		to           set
		open, likely bool
	}{
		"the room's air":          {-0.2, set{frame.Firebox: 420, frame.Chamber: 450, frame.Flue: 150}, true, false},
		"less of it":              {-0.2, set{frame.Firebox: 560, frame.Chamber: 560, frame.Flue: 200}, false, true},
		"the chimney stopped":     {-0.2, set{frame.Chamber: 450, frame.Flue: 120}, false, true},
		"and nothing has felt it": {-0.2, nil, false, false},
		"it has turned":           {-1.5, set{frame.Firebox: 420, frame.Chamber: 450, frame.Flue: 150}, false, false},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			f := newFire(t, burn.Site{})
			f.full()
			f.noise = 0.5
			f.burnUp()
			f.values[frame.Draft] = tt.draft
			f.toward(40*time.Second, 45*time.Second, tt.to)
			if open, likely := f.tracker.Door().Open, f.tracker.DoorLikely(); open != tt.open || likely != tt.likely {
				t.Errorf("open %v, likely %v", open, likely)
			}
			if f.toward(time.Minute, time.Minute, nil); f.tracker.DoorLikely() {
				t.Error("still likely")
			}
		})
	}
}

// What is no door: gusts, a fan that cools the flue, an air control that steps down, a
// rise of the draft.
func TestWhatIsNoDoor(t *testing.T) {
	tests := map[string]func(*fire){
		"steady":       func(f *fire) { f.toward(time.Minute, 2*time.Hour, nil) },
		"blower":       func(f *fire) { f.toward(4*time.Minute, 20*time.Minute, set{frame.Flue: 190, frame.Draft: 11.5}) },
		"blower stops": func(f *fire) { f.toward(4*time.Minute, 20*time.Minute, set{frame.Flue: 320, frame.Draft: 13.5}) },
		"air steps down": func(f *fire) {
			f.toward(3*time.Minute, 20*time.Minute, set{frame.Chamber: 450, frame.Firebox: 430, frame.Flue: 180, frame.Draft: 13})
		},
		"draft rises": func(f *fire) { f.toward(10*time.Second, 20*time.Minute, set{frame.Draft: 22}) },
		"draft sinks": func(f *fire) { f.toward(10*time.Minute, time.Hour, set{frame.Draft: 7}) },
		"one bad reading": func(f *fire) {
			d := f.values[frame.Draft]
			f.values[frame.Draft] = 2
			f.step()
			f.values[frame.Draft] = d
			f.toward(time.Second, time.Minute, nil)
		},
		"gusts": func(f *fire) {
			gust, mean := 0.0, f.values[frame.Draft]
			for range 2 * 3600 {
				gust += -gust/4 + f.rng.Normal()*1.5
				f.values[frame.Draft] = mean + gust
				f.step()
			}
		},
		"downdraft": func(f *fire) {
			f.toward(4*time.Second, 2*time.Minute, set{frame.Draft: -10})
			f.toward(4*time.Second, 2*time.Minute, set{frame.Draft: 13})
		},
		"hose off": func(f *fire) { f.values[frame.Draft] = 0; f.toward(time.Second, 20*time.Minute, nil) },
	}
	for name, do := range tests {
		t.Run(name, func(t *testing.T) {
			f := newFire(t, burn.Site{})
			f.full()
			f.noise = 1
			f.burnUp()
			do(f)
			if d := f.tracker.Door(); f.tracker.Burn.Doors != 0 || d.Open {
				t.Errorf("%d doors: %+v", f.tracker.Burn.Doors, d)
			}
			if len(f.loads) != 1 {
				t.Errorf("loads %+v", f.loads[1:])
			}
		})
	}
}

// An ash door left ajar stays open as long as the draft sags, and the rise comes after a
// door; a rise by itself does not.
func TestARiseKnowsItsDoor(t *testing.T) {
	rise := set{frame.Firebox: 700, frame.Chamber: 720, frame.Flue: 400}
	f := newFire(t, burn.Site{})
	f.full()
	f.burnUp()
	f.burnDown()
	f.toward(3*time.Second, time.Minute, set{frame.Draft: 4})
	f.toward(8*time.Minute, 10*time.Minute, rise)
	if d := f.tracker.Door(); !d.Open {
		t.Errorf("the door is %+v", d)
	}
	if r, ok := f.tracker.Rise(); !ok || !r.Door || r.From > 120 {
		t.Errorf("rise %+v, %v", r, ok)
	}

	f = newFire(t, burn.Site{})
	f.full()
	f.burnUp()
	f.burnDown()
	if _, ok := f.tracker.Rise(); ok {
		t.Error("rises while it falls")
	}
	f.toward(8*time.Minute, 10*time.Minute, rise)
	if r, ok := f.tracker.Rise(); !ok || r.Door || r.From > 120 {
		t.Errorf("rise %+v, %v", r, ok)
	}
	if l, _ := f.tracker.Load(); l.Door || l.Cold {
		t.Errorf("a load whose door nobody saw: %+v", l)
	}
}

// The blower's stop warms the flue over coals, and nothing else.
func TestABlowerThatCyclesIsNoLoad(t *testing.T) {
	f := newFire(t, burn.Site{})
	f.full()
	f.burnUp()
	f.burnDown()
	f.toward(20*time.Minute, 30*time.Minute, set{frame.Firebox: 150, frame.Chamber: 150, frame.Flue: 70})
	for range 4 {
		f.toward(3*time.Minute, 10*time.Minute, set{frame.Flue: 100, frame.Firebox: 130, frame.Chamber: 130})
		f.toward(3*time.Minute, 10*time.Minute, set{frame.Flue: 65, frame.Firebox: 110, frame.Chamber: 110})
	}
	if f.tracker.Phase != burn.Coals || len(f.loads) != 1 {
		t.Errorf("%v with loads %+v (%v)", f.tracker.Phase, f.loads, f.phases)
	}
}
