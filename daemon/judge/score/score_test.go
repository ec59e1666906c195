package score_test

import (
	"testing"
	"time"

	"fluewright/analysis/alarm"
	"fluewright/analysis/frame"
	"fluewright/daemon/judge/night"
	"fluewright/daemon/judge/score"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"
)

const (
	m = time.Minute
	s = time.Second
)

// limited is a site with a limit of 400 °C at the flue and 700 °C in the chamber.
func limited() night.Site {
	var site night.Site
	site.Fitted[frame.Flue], site.Fitted[frame.Chamber] = true, true
	site.Limits[frame.Flue], site.Limits[frame.Chamber] = 400, 700
	return site
}

// watched shows the watch a night of three hours in which the flue stands at 250 °C but
// for the peaks that it is given, each a minute long.
func watched(peaks map[time.Duration]float64) *score.Watch {
	w := score.NewWatch(limited())
	for at := time.Duration(0); at <= 180*m; at += 10 * s {
		r := night.Row{At: at}
		r.Values[frame.Flue], r.Values[frame.Chamber] = 250, 550
		for from, v := range peaks {
			if at >= from && at < from+m {
				r.Values[frame.Flue] = v
			}
		}
		w.Row(&r)
	}
	return w
}

// hot is a night in which the flue passes its limit at 60 min, on too large a bed of coals.
func hot() (*score.Watch, *night.Truth) {
	return watched(map[time.Duration]float64{60 * m: 420}), &night.Truth{
		Burning:   3 * time.Hour,
		Crossings: []night.Crossing{{Channel: frame.Flue, From: 60 * m, To: 70 * m}},
		Events:    []night.Event{event(night.Overfire, 40*m, 100*m, "coal-bed")},
	}
}

func event(h night.Hazard, from, to time.Duration, cause string) night.Event {
	return night.Event{Hazard: h, Began: from, From: from, To: to, Cause: cause, Channel: frame.Count, Other: frame.Count}
}

func high(at time.Duration, name alarm.Name, c frame.Channel, state string, causes ...string) score.Said {
	return score.Said{At: at, Alarm: name, Channel: c, State: state, Priority: "high", Causes: causes}
}

func TestCrossings(t *testing.T) {
	const flue, chamber = frame.Flue, frame.Chamber
	tests := map[string]struct {
		said  []score.Said
		want  score.Crossing
		false int
	}{
		"foreseen, and why": {
			said: []score.Said{high(52*m, alarm.Runaway, flue, "raised", "coal-bed", "draft-high")},
			want: score.Crossing{Foreseen: true, Lead: 8 * m, Said: "coal-bed"},
		},
		"silence": {want: score.Crossing{Said: score.NoAlarm}},
		"another channel of the same fire counts": {
			said: []score.Said{high(57*m, alarm.Runaway, chamber, "raised", "draft-high")},
			want: score.Crossing{Foreseen: true, Lead: 3 * m, Said: "draft-high"},
		},
		"too late": {
			said: []score.Said{high(60*m+1, alarm.Runaway, flue, "raised", "coal-bed")},
			want: score.Crossing{Said: "coal-bed"},
		},
		"taken back too early": {
			said: []score.Said{high(50*m, alarm.Runaway, flue, "raised", "coal-bed"), high(59*m, alarm.Runaway, flue, "cleared")},
			want: score.Crossing{Said: score.NoAlarm},
		},
		"acknowledged is still there": {
			said: []score.Said{high(50*m, alarm.Runaway, flue, "raised", "coal-bed"), high(51*m, alarm.Runaway, flue, "acknowledged")},
			want: score.Crossing{Foreseen: true, Lead: 10 * m, Said: "coal-bed"},
		},
		"raised again: the second time counts": {
			said: []score.Said{
				high(45*m, alarm.Runaway, flue, "raised"), high(50*m, alarm.Runaway, flue, "cleared"),
				high(58*m, alarm.Runaway, flue, "raised"),
			},
			want: score.Crossing{Foreseen: true, Lead: 2 * m, Said: score.NoCause},
		},
		"an account that changes": {
			said: []score.Said{high(52*m, alarm.Runaway, flue, "raised", "draft-high"), high(58*m, alarm.Runaway, flue, "updated", "coal-bed")},
			want: score.Crossing{Foreseen: true, Lead: 8 * m, Said: "coal-bed"},
		},
		"an account that changes too late": {
			said: []score.Said{high(52*m, alarm.Runaway, flue, "raised", "draft-high"), high(62*m, alarm.Runaway, flue, "updated", "coal-bed")},
			want: score.Crossing{Foreseen: true, Lead: 8 * m, Said: "draft-high"},
		},
		"overheat comes with the crossing and may explain it": {
			said: []score.Said{high(60*m+2*s, alarm.Overheat, flue, "raised", "coal-bed")},
			want: score.Crossing{Said: "coal-bed"},
		},
		"a chimney fire named wrongly foresees and misleads": {
			said:  []score.Said{high(55*m, alarm.ChimneyFire, frame.Count, "raised"), high(56*m, alarm.Runaway, flue, "raised", "coal-bed")},
			want:  score.Crossing{Foreseen: true, Lead: 5 * m, Said: "creosote"},
			false: 1,
		},
		"a lead beyond the horizon is none": {
			said:  []score.Said{high(10*m, alarm.Runaway, flue, "raised", "coal-bed")},
			want:  score.Crossing{Foreseen: true, Lead: 30 * m, Said: "coal-bed"},
			false: 1,
		},
		"other alarms foresee nothing": {
			said: []score.Said{{At: 50 * m, Alarm: alarm.DraftHigh, Channel: frame.Count, State: "raised", Priority: "medium", Causes: []string{"coal-bed"}}},
			want: score.Crossing{Said: score.NoAlarm},
		},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			w, truth := hot()
			n := score.Score(w, truth, tt.said)
			tt.want.At, tt.want.Channel, tt.want.Cause = 60*m, "flue", "coal-bed"
			if diff := cmp.Diff([]score.Crossing{tt.want}, n.Crossings); diff != "" {
				t.Errorf("crossings (-want +got):\n%s", diff)
			}
			if len(n.False) != tt.false {
				t.Errorf("false: %+v, want %d", n.False, tt.false)
			}
		})
	}
}

// Crossings of one fire are one, and those of the next another.
func TestEpisodes(t *testing.T) {
	w, truth := hot()
	truth.Crossings = []night.Crossing{
		{Channel: frame.Chamber, From: 130 * m, To: 131 * m},
		{Channel: frame.Flue, From: 60 * m, To: 70 * m},
		{Channel: frame.Chamber, From: 65 * m, To: 80 * m},
		{Channel: frame.Flue, From: 89 * m, To: 91 * m},
	}
	n := score.Score(w, truth, nil)
	var at []time.Duration
	for _, c := range n.Crossings {
		at = append(at, c.At)
	}
	if diff := cmp.Diff([]time.Duration{60 * m, 130 * m}, at); diff != "" {
		t.Errorf("crossings (-want +got):\n%s", diff)
	}
	if got := n.Crossings[1].Cause; got != "" {
		t.Errorf("the crossing after the hazard is given the cause %q", got)
	}
}

func TestFalseAlarms(t *testing.T) {
	const flue = frame.Flue
	tests := map[string]struct {
		peaks  map[time.Duration]float64
		events []night.Event
		said   score.Said
		false  bool
	}{
		"runaway in an ordinary night":                   {said: high(50*m, alarm.Runaway, flue, "raised"), false: true},
		"runaway at a legitimate peak just below":        {peaks: map[time.Duration]float64{60 * m: 390}, said: high(50*m, alarm.Runaway, flue, "raised"), false: true},
		"runaway of a fire that came near its limit":     {peaks: map[time.Duration]float64{60 * m: 390}, events: []night.Event{event(night.Overfire, 40*m, 99*m, "dry-fuel")}, said: high(50*m, alarm.Runaway, flue, "raised")},
		"runaway of a fire that stayed well below":       {peaks: map[time.Duration]float64{60 * m: 370}, events: []night.Event{event(night.Overfire, 40*m, 99*m, "dry-fuel")}, said: high(50*m, alarm.Runaway, flue, "raised"), false: true},
		"overheat of a hot flue":                         {peaks: map[time.Duration]float64{60 * m: 401}, said: high(60*m+30*s, alarm.Overheat, flue, "raised")},
		"overheat of a cool flue":                        {said: high(60*m, alarm.Overheat, flue, "raised"), false: true},
		"overheat of a probe that lies":                  {peaks: map[time.Duration]float64{60 * m: 401}, events: []night.Event{{Hazard: night.SensorSilent, Channel: flue, Other: frame.Count, To: 180 * m}}, said: high(60*m+30*s, alarm.Overheat, flue, "raised"), false: true},
		"chimney fire":                                   {events: []night.Event{event(night.ChimneyFire, 40*m, 50*m, "creosote")}, said: high(40*m+20*s, alarm.ChimneyFire, frame.Count, "raised")},
		"chimney fire before there is one":               {events: []night.Event{event(night.ChimneyFire, 40*m, 50*m, "creosote")}, said: high(39*m, alarm.ChimneyFire, frame.Count, "raised"), false: true},
		"spillage":                                       {events: []night.Event{event(night.Spillage, 40*m, 41*m, "")}, said: high(40*m+30*s, alarm.Spillage, frame.Count, "raised")},
		"spillage long after":                            {events: []night.Event{event(night.Spillage, 40*m, 41*m, "")}, said: high(44*m, alarm.Spillage, frame.Count, "raised"), false: true},
		"spillage without any":                           {said: high(44*m, alarm.Spillage, frame.Count, "raised"), false: true},
		"plenum in a power cut":                          {events: []night.Event{event(night.BlowerStopped, 40*m, 60*m, "blower")}, said: high(55*m, alarm.PlenumOverheat, frame.Plenum, "raised")},
		"plenum for nothing":                             {said: high(55*m, alarm.PlenumOverheat, frame.Plenum, "raised"), false: true},
		"a high alarm that nobody knows":                 {said: high(55*m, "meteorite", frame.Count, "raised"), false: true},
		"an alarm of lower priority is not counted here": {said: score.Said{At: 50 * m, Alarm: alarm.DraftHigh, Channel: frame.Count, State: "raised", Priority: "medium"}},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			n := score.Score(watched(tt.peaks), &night.Truth{Burning: 3 * time.Hour, Events: tt.events}, []score.Said{tt.said})
			if got := len(n.False) > 0; got != tt.false {
				t.Errorf("false: %v, want %v", got, tt.false)
			}
		})
	}
}

func TestDetections(t *testing.T) {
	sensor := func(at time.Duration, name alarm.Name, c frame.Channel) score.Said {
		return score.Said{At: at, Alarm: name, Channel: c, State: "raised", Priority: "medium"}
	}
	dead := night.Event{Hazard: night.SensorDead, Began: 40 * m, From: 40 * m, To: 180 * m, Channel: frame.Flue, Other: frame.Count}
	swapped := night.Event{Hazard: night.SensorSilent, Began: 0, From: 40 * m, To: 180 * m, Channel: frame.Chamber, Other: frame.Flue}
	tests := map[string]struct {
		event night.Event
		said  []score.Said
		want  *score.Detection // nil where none is due
	}{
		"chimney fire in time":    {event(night.ChimneyFire, 40*m, 50*m, ""), []score.Said{high(41*m, alarm.ChimneyFire, frame.Count, "raised")}, &score.Detection{Seen: true, Delay: m}},
		"chimney fire late":       {event(night.ChimneyFire, 40*m, 50*m, ""), []score.Said{high(41*m+1, alarm.ChimneyFire, frame.Count, "raised")}, &score.Detection{Delay: m + 1}},
		"chimney fire as runaway": {event(night.ChimneyFire, 40*m, 50*m, ""), []score.Said{high(41*m, alarm.Runaway, frame.Flue, "raised")}, &score.Detection{Delay: -1}},
		"spillage in time":        {event(night.Spillage, 40*m, 45*m, ""), []score.Said{high(41*m+30*s, alarm.Spillage, frame.Count, "raised")}, &score.Detection{Seen: true, Delay: 90 * s}},
		"spillage that is short":  {event(night.Spillage, 40*m, 41*m, ""), nil, nil},
		"dead sensor":             {dead, []score.Said{sensor(40*m+30*s, alarm.SensorLost, frame.Flue)}, &score.Detection{Seen: true, Delay: 30 * s}},
		"dead sensor, told late":  {dead, []score.Said{sensor(40*m+31*s, alarm.SensorLost, frame.Flue)}, &score.Detection{Delay: 31 * s}},
		"another sensor accused":  {dead, []score.Said{sensor(40*m+10*s, alarm.SensorLost, frame.Chamber)}, &score.Detection{Delay: -1}},
		"swapped, seen early":     {swapped, []score.Said{sensor(30*m, alarm.SensorImplausible, frame.Flue)}, &score.Detection{Seen: true}},
		"swapped, and an alarm":   {swapped, []score.Said{high(50*m, alarm.Overheat, frame.Flue, "raised")}, &score.Detection{Delay: -1, Instead: "overheat"}},
		"taken back before it is": {dead, []score.Said{sensor(30*m, alarm.SensorImplausible, frame.Flue), {At: 31 * m, Alarm: alarm.SensorImplausible, Channel: frame.Flue, State: "cleared"}}, &score.Detection{Delay: -1}},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			n := score.Score(watched(nil), &night.Truth{Burning: 3 * time.Hour, Events: []night.Event{tt.event}}, tt.said)
			var want []score.Detection
			if tt.want != nil {
				tt.want.Hazard, tt.want.From = tt.event.Hazard, tt.event.From
				want = append(want, *tt.want)
			}
			if diff := cmp.Diff(want, n.Detections); diff != "" {
				t.Errorf("detections (-want +got):\n%s", diff)
			}
		})
	}
}

func TestAccused(t *testing.T) {
	fault := night.Event{Hazard: night.SensorSilent, Began: 40 * m, From: 40 * m, To: 180 * m, Channel: frame.Flue, Other: frame.Count}
	truth := &night.Truth{Burning: 3 * time.Hour, Events: []night.Event{fault}}
	said := []score.Said{
		{At: 20 * m, Alarm: alarm.SensorImplausible, Channel: frame.Flue, State: "raised", Priority: "medium"},
		{At: 41 * m, Alarm: alarm.SensorLost, Channel: frame.Draft, State: "raised", Priority: "medium"},
		{At: 42 * m, Alarm: alarm.SensorLost, Channel: frame.Flue, State: "raised", Priority: "medium"},
	}
	if got := score.Score(watched(nil), truth, said).Accused; len(got) != 2 {
		t.Errorf("accused wrongly: %+v, want the first two", got)
	}
}

// A judge that knows all scores all, one that says nothing scores nothing, and one that
// always cries is right by accident and pays for it.
func TestSums(t *testing.T) {
	w, truth := hot()
	truth.Events = append(truth.Events, event(night.ChimneyFire, 120*m, 130*m, "creosote"), event(night.Spillage, 150*m, 160*m, ""))
	judge := func(said ...score.Said) *score.Sum { return score.Add([]score.Night{score.Score(w, truth, said)}) }

	perfect := judge(
		high(50*m, alarm.Runaway, frame.Flue, "raised", "coal-bed"), high(75*m, alarm.Runaway, frame.Flue, "cleared"),
		high(120*m+5*s, alarm.ChimneyFire, frame.Count, "raised"), high(150*m+30*s, alarm.Spillage, frame.Count, "raised"))
	if perfect.All.Percent() != 100 || perfect.Cause.Percent() != 100 || perfect.FalseAll != 0 || perfect.All.Median != 600 {
		t.Errorf("perfect: %+v", perfect)
	}
	for _, h := range []night.Hazard{night.ChimneyFire, night.Spillage} {
		if d := perfect.Hazards[h]; d.Percent() != 100 || d.Of != 1 {
			t.Errorf("perfect: %s %+v", h, d)
		}
	}

	silent := judge()
	if silent.All.Of != 1 || silent.All.Got != 0 || silent.Cause.Got != 0 || silent.FalseAll != 0 || silent.Hazards[night.Spillage].Got != 0 {
		t.Errorf("silent: %+v", silent)
	}

	var cries []score.Said
	for at := time.Duration(0); at < 180*m; at += 10 * m {
		cries = append(cries, high(at, alarm.Runaway, frame.Flue, "raised"), high(at+9*m, alarm.Runaway, frame.Flue, "cleared"))
	}
	crier := judge(cries...)
	// Right are those from 30 min, half an hour before the crossing, to its end at 70 min:
	// five of eighteen. The others are false, in three hours.
	if crier.FalseAll != 13 {
		t.Errorf("crier: %d false, want 13: %+v", crier.FalseAll, crier.False)
	}
	if got := crier.PerThousand(crier.FalseAll); got < 4333 || got > 4334 {
		t.Errorf("crier: %.1f false per 1,000 h", got)
	}
}

func TestFuelsAreOneClassOnlyIfAskedFor(t *testing.T) {
	c := score.Crossing{Cause: "fine-fuel", Said: "dry-fuel"}
	if c.Right(false) || !c.Right(true) {
		t.Error("dry for fine: want wrong strictly and right loosely")
	}
	c.Said = "coal-bed"
	if c.Right(true) {
		t.Error("coal bed for fine fuel is right")
	}
}

// Whatever is said, the figures stay figures.
func TestScoreProperty(t *testing.T) {
	states := []string{"raised", "acknowledged", "updated", "cleared", "suppressed", "nonsense"}
	rapid.Check(t, func(t *rapid.T) {
		w, truth := hot()
		truth.Events = append(truth.Events, event(night.Spillage, 150*m, 160*m, ""))
		var said []score.Said
		at := time.Duration(0)
		for range rapid.IntRange(0, 30).Draw(t, "n") {
			at += time.Duration(rapid.IntRange(0, 1800).Draw(t, "dt")) * s
			said = append(said, high(at,
				rapid.SampledFrom([]alarm.Name{alarm.Runaway, alarm.Overheat, alarm.ChimneyFire, alarm.Spillage, alarm.SensorLost}).Draw(t, "alarm"),
				frame.Channel(rapid.IntRange(0, int(frame.Count)).Draw(t, "channel")),
				rapid.SampledFrom(states).Draw(t, "state")))
		}
		n := score.Score(w, truth, said)
		for _, c := range n.Crossings {
			if c.Foreseen != (c.Lead > 0) || c.Lead > 30*m {
				t.Fatalf("foreseen %v with a lead of %v", c.Foreseen, c.Lead)
			}
		}
		for _, d := range n.Detections {
			if d.Seen && d.Delay < 0 {
				t.Fatalf("seen with a delay of %v", d.Delay)
			}
		}
		if len(n.False) > len(n.Raised) {
			t.Fatalf("%d false of %d raised", len(n.False), len(n.Raised))
		}
	})
}
