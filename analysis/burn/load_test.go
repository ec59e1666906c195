package burn_test

import (
	"testing"
	"time"

	"fluewright/analysis/burn"
	"fluewright/analysis/frame"
)

// ashDoor opens the ash door for d: the draft sags, and the air under the grate makes the
// fire hotter at once, where a loading door and cold wood cool the gas.
func (f *fire) ashDoor(d time.Duration, to set) {
	draft := f.values[frame.Draft]
	f.values[frame.Draft] *= 0.6
	f.toward(4*time.Minute, d, to)
	f.values[frame.Draft] = draft
}

// Wood is told from a look, a poke and air by what the fire does after the door was shut.
func TestWhatIsALoad(t *testing.T) {
	hotter := set{frame.Firebox: 680, frame.Chamber: 700, frame.Flue: 320, frame.Draft: 15}
	tests := map[string]struct {
		do    func(*fire)
		loads int // after the one that lit it
	}{
		"wood on flames": {func(f *fire) { f.burnUp(); f.reload(hotter) }, 1},
		"two doors for one load": {func(f *fire) {
			f.burnUp()
			f.burnDown()
			f.door(45 * time.Second)
			f.toward(time.Minute, 3*time.Minute, set{frame.Firebox: 200, frame.Chamber: 210, frame.Flue: 80})
			f.reload(hotAgain)
		}, 1},
		"wood that takes half an hour to catch": {func(f *fire) {
			f.burnUp()
			f.burnDown()
			f.door(45 * time.Second)
			f.toward(5*time.Minute, 30*time.Minute, set{frame.Firebox: 225, frame.Chamber: 235, frame.Flue: 88})
			f.toward(6*time.Minute, 30*time.Minute, hotAgain)
		}, 1},
		"fine wood on coals burns up at once": {func(f *fire) {
			f.burnUp()
			f.burnDown()
			f.door(30 * time.Second)
			f.toward(90*time.Second, 20*time.Minute, set{frame.Firebox: 700, frame.Chamber: 720, frame.Flue: 330, frame.Draft: 15})
		}, 1},
		"kindling, with a look while it catches": {func(f *fire) {
			f.toward(time.Minute, 10*time.Minute, nil)
			f.toward(15*time.Minute, 14*time.Minute, set{frame.Firebox: 500, frame.Chamber: 520, frame.Flue: 220, frame.Draft: 11})
			f.door(30 * time.Second)
			f.toward(12*time.Minute, time.Hour, set{frame.Firebox: 620, frame.Chamber: 640, frame.Flue: 270, frame.Draft: 13})
		}, 0},
		"the ash door, over flames": {func(f *fire) {
			f.burnUp()
			f.ashDoor(5*time.Minute, hotter)
			f.toward(5*time.Minute, 30*time.Minute, set{frame.Firebox: 600, frame.Chamber: 620, frame.Flue: 260})
		}, 0},
		"the ash door, over coals": {func(f *fire) {
			f.burnUp()
			f.burnDown()
			f.ashDoor(5*time.Minute, set{frame.Firebox: 350, frame.Chamber: 360, frame.Flue: 130})
			f.toward(5*time.Minute, 30*time.Minute, set{frame.Firebox: 200, frame.Chamber: 210, frame.Flue: 80})
		}, 0},
		"the air shut after a look": {func(f *fire) {
			f.burnUp()
			f.toward(20*time.Minute, 40*time.Minute, set{frame.Firebox: 450, frame.Chamber: 470, frame.Flue: 190, frame.Draft: 12})
			f.door(30 * time.Second)
			f.values[frame.Draft] = 9
			f.toward(2*time.Minute, 12*time.Minute, set{frame.Firebox: 540, frame.Chamber: 570, frame.Flue: 150})
			f.toward(15*time.Minute, 45*time.Minute, set{frame.Firebox: 350, frame.Chamber: 370, frame.Flue: 120})
		}, 0},
		"a piece that falls after a look": {func(f *fire) {
			f.burnUp()
			f.poke(30 * time.Second)
			f.toward(2*time.Minute, 6*time.Minute, set{frame.Firebox: 615, frame.Chamber: 635, frame.Flue: 266})
			f.toward(5*time.Minute, 30*time.Minute, set{frame.Firebox: 590, frame.Chamber: 610, frame.Flue: 255})
		}, 0},
	}
	for name, tt := range tests {
		for _, every := range []time.Duration{time.Second, 5 * time.Second} {
			t.Run(name+" "+every.String(), func(t *testing.T) {
				f := newFire(t, burn.Site{})
				f.full()
				f.every, f.noise = every, 0.5
				tt.do(f)
				if got := len(f.loads) - 1; got != tt.loads {
					t.Errorf("%d loads, want %d: %+v", got, tt.loads, f.loads)
				}
				for i, l := range f.loads {
					if l.Cold != (i == 0) || i > 0 && !l.Door {
						t.Errorf("load %d: %+v", i, l)
					}
				}
			})
		}
	}
}
