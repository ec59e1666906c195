package burn_test

import (
	"math"
	"slices"
	"testing"
	"time"

	"fluewright/analysis/burn"
	"fluewright/analysis/frame"
	"fluewright/analysis/internal/noise"
)

// fire is a furnace whose readings the test moves, seen through a tracker.
type fire struct {
	t       *testing.T
	tracker *burn.Tracker
	values  frame.Values // as they are; NaN for none
	every   time.Duration
	at      time.Duration
	noise   float64 // K and, a tenth of it, Pa
	rng     noise.Source

	phases []burn.Phase
	loads  []burn.Load
	doors  []burn.Door
	burns  []burn.Summary
	opened int
	shown  []time.Duration // when a door was said to be open
}

func newFire(t *testing.T, site burn.Site) *fire {
	t.Helper()
	f := &fire{t: t, tracker: burn.New(site), every: time.Second, rng: 1, at: time.Minute}
	for c := range f.values {
		f.values[c] = math.NaN()
	}
	f.values[frame.Flue], f.values[frame.Draft] = 20, 3
	return f
}

func (f *fire) step() burn.Changes {
	in := burn.Inputs{At: f.at, Values: f.values}
	for c := range in.Values {
		if math.IsNaN(in.Values[c]) {
			continue
		}
		n := f.noise * f.rng.Normal()
		if frame.Channel(c).Pressure() {
			n /= 10
		}
		in.Values[c] += n
		if c := frame.Channel(c); !c.Pressure() {
			in.Values[c] = math.Round(in.Values[c]*4) / 4
		}
	}
	ch := f.tracker.Step(in)
	if ch.From != ch.To {
		f.phases = append(f.phases, ch.To)
	}
	if ch.Loaded {
		l, ok := f.tracker.Load()
		if !ok {
			f.t.Fatal("a load that is not there")
		}
		f.loads = append(f.loads, l)
	}
	if ch.Opened {
		f.opened++
		f.shown = append(f.shown, f.at)
	}
	if ch.Closed {
		f.doors = append(f.doors, f.tracker.Door())
	}
	if ch.Ended {
		f.burns = append(f.burns, f.tracker.Finished)
	}
	f.at += f.every
	return ch
}

// toward lets the channels approach the values given, with the time constant, for d.
func (f *fire) toward(tau, d time.Duration, to map[frame.Channel]float64) {
	for range int(d / f.every) {
		for c, v := range to {
			if !math.IsNaN(f.values[c]) {
				f.values[c] += (v - f.values[c]) * -math.Expm1(-f.every.Seconds()/tau.Seconds())
			}
		}
		f.step()
	}
}

type set = map[frame.Channel]float64

// full gives the furnace all the channels in the fire.
func (f *fire) full() {
	f.values[frame.Firebox], f.values[frame.Chamber], f.values[frame.Room] = 20, 20, 20
}

// burnUp lights the fire and brings it into a clean burn.
func (f *fire) burnUp() {
	f.toward(time.Minute, 10*time.Minute, nil)
	f.toward(25*time.Minute, 90*time.Minute, set{frame.Firebox: 600, frame.Chamber: 620, frame.Flue: 260, frame.Draft: 13})
}

// door opens a door for d: the draft sags, cold air cools the gas; then all recovers.
func (f *fire) door(d time.Duration) {
	v := f.values
	f.values[frame.Draft] *= 0.5
	f.toward(40*time.Second, d, set{
		frame.Firebox: v[frame.Firebox] * 0.7, frame.Chamber: v[frame.Chamber] * 0.75, frame.Flue: 20 + (v[frame.Flue]-20)*0.7,
	})
	f.values[frame.Draft] = v[frame.Draft]
}

// poke is a door that changes nothing.
func (f *fire) poke(d time.Duration) {
	v := f.values
	f.door(d)
	f.toward(40*time.Second, 8*time.Minute, set{frame.Firebox: v[frame.Firebox], frame.Chamber: v[frame.Chamber], frame.Flue: v[frame.Flue]})
}

// burnDown lets the flames go over to coals.
func (f *fire) burnDown() {
	f.toward(20*time.Minute, time.Hour, set{frame.Firebox: 230, frame.Chamber: 240, frame.Flue: 90, frame.Draft: 8})
}

func (f *fire) goOut() {
	f.toward(30*time.Minute, 4*time.Hour, set{frame.Firebox: 30, frame.Chamber: 30, frame.Flue: 20, frame.Draft: 3})
}

func (f *fire) want(phases ...burn.Phase) {
	f.t.Helper()
	if !slices.Equal(f.phases, phases) {
		f.t.Errorf("phases %v, want %v", f.phases, phases)
	}
}

// subsets are the channels that a site may have in the fire.
var subsets = map[string][]frame.Channel{
	"all":            {frame.Firebox, frame.Chamber, frame.Flue, frame.Draft, frame.Room},
	"flue and draft": {frame.Flue, frame.Draft},
	"flue alone":     {frame.Flue},
	"chamber, flue":  {frame.Chamber, frame.Flue, frame.Draft},
}

func (f *fire) fit(channels []frame.Channel) {
	f.full()
	for c := range f.values {
		if !slices.Contains(channels, frame.Channel(c)) {
			f.values[c] = math.NaN()
		}
	}
}

func TestAnOrdinaryBurnOnAnyChannels(t *testing.T) {
	for name, channels := range subsets {
		for _, every := range []time.Duration{100 * time.Millisecond, time.Second, 5 * time.Second, time.Minute, 10 * time.Minute} {
			for _, noise := range []float64{0, 1} {
				if every < time.Second && noise == 0 {
					continue // long, and nothing new
				}
				t.Run(name+" "+every.String(), func(t *testing.T) {
					f := newFire(t, burn.Site{})
					f.fit(channels)
					f.every, f.noise = every, noise
					f.burnUp()
					f.burnDown()
					f.goOut()
					if every > time.Minute { // what is short may fall between two readings
						f.phases = slices.DeleteFunc(f.phases, func(p burn.Phase) bool { return p == burn.Lighting || p == burn.WarmUp })
						f.want(burn.Cold, burn.CleanBurn, burn.Coals, burn.Cold)
					} else {
						f.want(burn.Cold, burn.Lighting, burn.WarmUp, burn.CleanBurn, burn.Coals, burn.Cold)
					}
					if len(f.burns) != 1 || f.burns[0].Kind != burn.ColdStart || f.burns[0].Loads != 1 || f.burns[0].Doors != 0 {
						t.Errorf("burns %+v", f.burns)
					}
				})
			}
		}
	}
}

// A burn that never passes 200 °C at the flue, told by the site's limit.
func TestASmallFurnaceBurnsClean(t *testing.T) {
	site := burn.Site{}
	site.Limits[frame.Flue] = 280
	f := newFire(t, site)
	f.toward(time.Minute, 10*time.Minute, nil)
	f.toward(20*time.Minute, 2*time.Hour, set{frame.Flue: 170, frame.Draft: 12})
	f.want(burn.Cold, burn.Lighting, burn.WarmUp, burn.CleanBurn)
	f.toward(20*time.Minute, 90*time.Minute, set{frame.Flue: 60})
	if f.tracker.Phase != burn.Coals {
		t.Errorf("%v afterwards", f.tracker.Phase)
	}
}

// Without a limit it takes a burn to know what is usual.
func TestWhatIsUsualIsLearnt(t *testing.T) {
	f := newFire(t, burn.Site{})
	light := func() {
		f.toward(time.Minute, 10*time.Minute, nil)
		f.toward(20*time.Minute, 2*time.Hour, set{frame.Flue: 180, frame.Draft: 12})
	}
	light()
	if f.tracker.Phase != burn.Smoulder {
		t.Errorf("the first burn is in %v", f.tracker.Phase)
	}
	f.goOut()
	light()
	if f.tracker.Phase != burn.CleanBurn {
		t.Errorf("the second burn is in %v", f.tracker.Phase)
	}
}

// The air was shut on fresh wood: it is not coals that are left.
func TestShutAirOnFreshWoodIsSmoulder(t *testing.T) {
	for name, channels := range subsets {
		t.Run(name, func(t *testing.T) {
			f := newFire(t, burn.Site{})
			f.fit(channels)
			f.toward(time.Minute, 10*time.Minute, nil)
			f.toward(6*time.Minute, 15*time.Minute, set{frame.Firebox: 500, frame.Chamber: 620, frame.Flue: 300, frame.Draft: 13})
			f.toward(4*time.Minute, 30*time.Minute, set{frame.Firebox: 250, frame.Chamber: 260, frame.Flue: 125})
			if f.tracker.Phase != burn.Smoulder {
				t.Errorf("%v after %v", f.tracker.Phase, f.phases)
			}
		})
	}
}

func TestAMonitorStartedAtNight(t *testing.T) {
	tests := map[string]struct {
		begin map[frame.Channel]float64
		end   float64
		want  burn.Phase
	}{
		"cold":       {set{frame.Flue: 25}, 25, burn.Cold},
		"clean burn": {set{frame.Flue: 250}, 250, burn.CleanBurn},
		"coals":      {set{frame.Flue: 90}, 40, burn.Coals},
		"lighting":   {set{frame.Flue: 60}, 110, burn.Lighting},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			f := newFire(t, burn.Site{})
			for c, v := range tt.begin {
				f.values[c] = v
			}
			f.toward(time.Hour, 20*time.Minute, set{frame.Flue: tt.end})
			if f.tracker.Phase != tt.want {
				t.Errorf("%v (%v)", f.tracker.Phase, f.phases)
			}
			if f.tracker.Phase.Fire() && f.tracker.Burn.Kind != burn.Found {
				t.Errorf("the burn began as %v", f.tracker.Burn.Kind)
			}
			if _, ok := f.tracker.Load(); ok {
				t.Error("nobody saw wood laid on")
			}
		})
	}
}

// A chimney that stops drawing cools the flue beside a fire. That is no fire gone out.
func TestATurnedDraftIsNoFireGoneOut(t *testing.T) {
	f := newFire(t, burn.Site{})
	f.burnUp()
	f.toward(5*time.Second, time.Minute, set{frame.Draft: -4})
	f.toward(4*time.Minute, time.Hour, set{frame.Flue: 20})
	if !f.tracker.Phase.Fire() {
		t.Fatalf("%v while the draft is turned", f.tracker.Phase)
	}
	if len(f.doors) > 0 && f.tracker.Door().Open || f.tracker.Burn.Doors != 0 {
		t.Errorf("a door: %+v", f.tracker.Door())
	}
	f.toward(5*time.Second, time.Minute, set{frame.Draft: 12})
	f.toward(2*time.Minute, 20*time.Minute, set{frame.Flue: 250})
	if f.tracker.Phase != burn.CleanBurn || len(f.loads) != 1 {
		t.Errorf("%v with loads %+v when it draws again", f.tracker.Phase, f.loads)
	}
}

// Brick beside glowing coals stays hot while the blower cools the flue to nothing.
func TestAHotFireboxIsNoFireGoneOut(t *testing.T) {
	f := newFire(t, burn.Site{})
	f.full()
	f.burnUp()
	f.burnDown()
	f.toward(10*time.Minute, 2*time.Hour, set{frame.Flue: 30, frame.Firebox: 200, frame.Chamber: 90})
	if f.tracker.Phase != burn.Coals {
		t.Errorf("%v", f.tracker.Phase)
	}
	f.goOut()
	if f.tracker.Phase != burn.Cold {
		t.Errorf("%v in the end", f.tracker.Phase)
	}
}

func TestALostFlueHoldsThePhase(t *testing.T) {
	f := newFire(t, burn.Site{})
	f.full()
	f.burnUp()
	flue := f.values[frame.Flue]
	f.values[frame.Flue] = math.NaN()
	f.toward(20*time.Minute, time.Hour, set{frame.Chamber: 100, frame.Firebox: 100})
	if f.tracker.Phase != burn.CleanBurn {
		t.Errorf("%v", f.tracker.Phase)
	}
	if got := f.tracker.Burn.In[burn.Unknown]; got < 59*time.Minute || got > time.Hour {
		t.Errorf("unseen for %v", got)
	}
	f.values[frame.Flue] = flue
	f.step()
}

// While the flue is missing, the chamber still tells of a fire that is lit.
func TestAFireWithoutAFlueReading(t *testing.T) {
	f := newFire(t, burn.Site{})
	f.full()
	f.toward(time.Minute, time.Minute, nil)
	f.values[frame.Flue] = math.NaN()
	f.toward(10*time.Minute, 30*time.Minute, set{frame.Chamber: 600})
	if !f.tracker.Phase.Fire() {
		t.Errorf("%v", f.tracker.Phase)
	}
}

func TestASilenceIsResumedOrEndsTheBurn(t *testing.T) {
	f := newFire(t, burn.Site{})
	f.full()
	f.burnUp()
	start := f.tracker.Burn.Start
	f.at += 10 * time.Minute
	f.toward(time.Minute, 5*time.Minute, nil)
	if b := f.tracker.Burn; b.Start != start || len(f.burns) != 0 || b.In[burn.Unknown] < 10*time.Minute {
		t.Errorf("after ten minutes: %+v", b)
	}
	end := f.at
	f.at += 12 * time.Hour
	f.toward(time.Minute, 5*time.Minute, nil)
	if len(f.burns) != 1 || f.burns[0].End > end {
		t.Fatalf("after twelve hours: %+v", f.burns)
	}
	if b := f.tracker.Burn; b.Kind != burn.Found || b.Start < end {
		t.Errorf("what was found: %+v", b)
	}
}
