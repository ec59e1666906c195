package cause_test

import (
	"testing"
	"time"

	"fluewright/analysis/alarm"
	"fluewright/analysis/burn"
	"fluewright/analysis/cause"
	"fluewright/analysis/frame"
)

// scenes are the usual causes of the trade and some more, each as the channels show it,
// and what is no cause at all.
var scenes = map[string]struct {
	scene
	subject alarm.Key
	want    cause.Code // "" for nothing
}{
	"gate stuck shut in the middle of a burn": {
		scene{
			flue:    line{0, 20, 40, 260, 60, 280, 64, 300, 84, 480},
			chamber: line{0, 20, 40, 560, 60, 600, 64, 620, 84, 700},
			firebox: line{0, 20, 40, 600, 60, 640, 84, 800},
			draft:   line{0, 0, 10, 11, 60, 13, 61, 24, 84, 29},
			load:    lighting(1), until: 84,
		}, overheat, cause.DraftHigh,
	},
	"regulator set too high from the start": {
		scene{
			flue:    line{0, 20, 10, 120, 50, 480},
			chamber: line{0, 20, 10, 200, 50, 690},
			firebox: line{0, 20, 10, 300, 50, 820},
			draft:   line{0, 0, 5, 9, 15, 18, 50, 21},
			load:    lighting(1), until: 50,
		}, overheat, cause.DraftHigh,
	},
	"reload on a large bed of coals": {
		scene{
			flue:    line{0, 180, 30, 160, 31, 130, 32, 150, 42, 470},
			chamber: line{0, 480, 30, 450, 31, 380, 32, 400, 42, 720},
			firebox: line{0, 640, 30, 620, 31, 540, 32, 600, 42, 900},
			draft:   line{0, 12, 30, 12, 31, 8, 32, 12, 42, 13.5},
			load:    reload(30, 40, 160, 450, 620), until: 42,
		}, overheat, cause.CoalBed,
	},
	"the deposit glows, and the chamber takes no part": {
		scene{
			flue:    line{0, 20, 40, 290, 100, 285, 102, 300, 108, 450},
			chamber: line{0, 20, 40, 355, 100, 354, 108, 362},
			draft:   line{0, 0, 10, 13, 100, 13.5, 108, 14},
			load:    lighting(1), until: 108,
		}, overheat, cause.Creosote,
	},
	"kindling for firewood": {
		scene{
			flue:    line{0, 20, 3, 60, 8, 480},
			chamber: line{0, 20, 3, 80, 10, 520},
			firebox: line{0, 20, 3, 150, 10, 650},
			draft:   line{0, 0, 3, 9, 8, 13.5},
			load:    lighting(1), until: 9,
		}, overheat, cause.FineFuel,
	},
	"dry wood": {
		scene{
			flue:    line{0, 20, 3, 50, 10, 180, 16, 300, 30, 400, 45, 480},
			chamber: line{0, 20, 3, 70, 10, 300, 16, 450, 30, 620, 45, 700},
			firebox: line{0, 20, 3, 120, 10, 400, 16, 550, 30, 700, 45, 800},
			draft:   line{0, 0, 3, 8, 10, 12, 45, 13.5},
			load:    lighting(1), until: 45, moisture: 0.08,
		}, overheat, cause.DryFuel,
	},
	"ash door ajar in the middle of a burn": {
		scene{
			flue:    line{0, 20, 40, 260, 60, 265, 62, 290, 70, 480},
			chamber: line{0, 20, 40, 580, 60, 590, 62, 620, 70, 720},
			firebox: line{0, 20, 40, 600, 60, 600, 70, 800},
			draft:   line{0, 0, 10, 12, 60, 13, 61, 10.5, 70, 12},
			load:    lighting(1), until: 70,
		}, overheat, cause.AirLeak,
	},
	"loading door ajar: the firebox cools": {
		scene{
			flue:    line{0, 20, 40, 260, 60, 265, 62, 290, 74, 480},
			chamber: line{0, 20, 40, 580, 60, 590, 62, 600, 74, 720},
			firebox: line{0, 20, 40, 600, 60, 600, 74, 500},
			draft:   line{0, 0, 10, 12, 60, 13, 61, 9, 74, 10},
			load:    lighting(1), until: 74,
		}, overheat, cause.AirLeak,
	},
	"chimney fire": {
		scene{
			flue:    line{0, 20, 40, 240, 60, 245, 63, 700},
			chamber: line{0, 20, 40, 580, 60, 590, 63, 600},
			firebox: line{0, 20, 40, 600, 60, 600, 63, 605},
			draft:   line{0, 0, 10, 12, 60, 13, 63, 34},
			load:    lighting(1), until: 63,
		}, fire, cause.Creosote,
	},
	"power cut": {
		scene{
			flue:    line{0, 20, 40, 240, 70, 250},
			chamber: line{0, 20, 40, 580, 70, 600},
			firebox: line{0, 20, 40, 600, 70, 620},
			draft:   line{0, 0, 10, 12, 70, 13},
			plenum:  line{0, 20, 40, 50, 60, 50, 70, 95},
			load:    lighting(1), until: 70, stopped: 61,
		}, hotAir, cause.Blower,
	},
	"a leap without a load, then a reload on it": {
		scene{
			flue:    line{0, 20, 40, 240, 60, 200, 63, 260, 70, 280, 74, 282, 75, 225, 77, 350, 80, 480},
			chamber: line{0, 20, 40, 540, 60, 460, 63, 480, 70, 510, 74, 520, 75, 470, 77, 560, 80, 650},
			firebox: line{0, 20, 40, 560, 60, 480, 63, 490, 70, 530, 74, 540, 75, 480, 77, 520, 80, 600},
			draft:   line{0, 0, 10, 12, 74, 13, 74.3, 8, 75, 12.5, 80, 13.2},
			load:    reload(74.2, 0, 282, 520, 540), until: 80,
		}, overheat, cause.AirLeak,
	},
	"a load that nobody told of, on hot coals": {
		scene{
			flue:    line{0, 260, 20, 240, 50, 190, 51, 150, 52, 160, 60, 470},
			chamber: line{0, 600, 20, 560, 50, 470, 51, 400, 52, 420, 60, 720},
			firebox: line{0, 700, 20, 690, 50, 640, 51, 560, 52, 600, 60, 900},
			draft:   line{0, 12, 50, 12, 60, 13.5},
			until:   60,
		}, overheat, cause.CoalBed,
	},
	"a fire that had burnt down rises again, and nobody saw a door": {
		scene{
			flue:    line{0, 20, 30, 250, 70, 240, 110, 105, 120, 100, 126, 320, 129, 480},
			chamber: line{0, 20, 30, 580, 70, 560, 110, 200, 120, 190, 126, 480, 129, 650},
			firebox: line{0, 20, 30, 600, 70, 580, 110, 300, 120, 290, 126, 500, 129, 620},
			draft:   line{0, 0, 10, 12, 129, 12.5},
			load:    lighting(1), until: 129,
		}, overheat, cause.DryFuel,
	},
	"wood that first had to dry, on a bed that still glowed": {
		scene{
			flue:    line{0, 240, 20, 220, 30, 190, 31, 130, 36, 128, 44, 480},
			chamber: line{0, 560, 20, 450, 30, 360, 31, 270, 36, 260, 44, 700},
			firebox: line{0, 640, 20, 600, 30, 540, 31, 430, 36, 420, 44, 760},
			draft:   line{0, 12, 30, 12, 31, 8, 32, 12, 44, 13},
			load:    reload(31, 0, 170, 340, 500), until: 44,
		}, overheat, cause.DryFuel,
	},
	"somebody looks at dry wood that is catching fire": {
		scene{
			flue:    line{0, 200, 34, 330, 34.5, 300, 36, 340, 44, 480},
			chamber: line{0, 250, 34, 590, 34.5, 560, 36, 600, 44, 700},
			firebox: line{0, 350, 34, 640, 34.5, 600, 36, 660, 44, 760},
			draft:   line{0, 12, 34, 12, 34.3, 9, 35, 12, 44, 13},
			load:    reload(34, 0, 330, 590, 640), until: 44,
		}, overheat, cause.DryFuel,
	},
	"a plenum too hot over a fire within its limits": {
		scene{
			flue:    line{0, 20, 40, 240, 90, 240},
			chamber: line{0, 20, 40, 480, 90, 480},
			firebox: line{0, 20, 40, 500, 90, 500},
			draft:   line{0, 0, 10, 12, 90, 13},
			plenum:  line{0, 20, 40, 60, 90, 98},
			load:    lighting(1), until: 90,
		}, hotAir, cause.Blower,
	},
	"an ordinary slow burn": {
		scene{
			flue:    line{0, 20, 20, 120, 90, 300},
			chamber: line{0, 20, 20, 250, 90, 600},
			firebox: line{0, 20, 20, 300, 90, 650},
			draft:   line{0, 0, 10, 11, 90, 13},
			until:   90,
		}, overheat, "",
	},
	"a cold furnace": {
		scene{flue: line{0, 20}, chamber: line{0, 20}, firebox: line{0, 20}, draft: line{0, 1}, until: 30},
		overheat, "",
	},
}

func best(list []cause.Cause) cause.Code {
	if len(list) == 0 {
		return ""
	}
	return list[0].Code
}

func TestScenes(t *testing.T) {
	for name, tt := range scenes {
		t.Run(name, func(t *testing.T) {
			for _, step := range []time.Duration{100 * time.Millisecond, time.Second, 5 * time.Second} {
				got := tt.play(step, 1, every...).Rank(tt.subject, nil)
				if best(got) != tt.want {
					t.Errorf("every %v: %v, want %q first", step, got, tt.want)
				}
				if len(got) > 0 && got[0].Evidence[0].Kind == cause.None {
					t.Errorf("no evidence for %v", got[0].Code)
				}
			}
		})
	}
}

// Flue and draft alone tell the causes that they can show.
func TestFlueAndDraftAlone(t *testing.T) {
	for _, name := range []string{
		"gate stuck shut in the middle of a burn", "regulator set too high from the start", "kindling for firewood",
		"dry wood", "ash door ajar in the middle of a burn", "chimney fire", "an ordinary slow burn",
	} {
		tt := scenes[name]
		if got := tt.play(time.Second, 1, frame.Flue, frame.Draft).Rank(tt.subject, nil); best(got) != tt.want {
			t.Errorf("%s: %v, want %q first", name, got, tt.want)
		}
	}
}

// A chimney fire makes the flue too hot as well, and is named as the cause of that.
func TestChimneyFireExplainsAHotFlue(t *testing.T) {
	if got := scenes["chimney fire"].play(time.Second, 1, every...).Rank(overheat, nil); best(got) != cause.Creosote {
		t.Errorf("%v, want creosote first", got)
	}
}

// Whoever finds that the deposit burns is believed, also where the readings alone would
// speak for something else.
func TestAFoundChimneyFireIsTheCause(t *testing.T) {
	s := scenes["ash door ajar in the middle of a burn"].scene
	s.chamber, s.firebox = nil, nil
	tr := s.play(time.Second, 1, frame.Flue, frame.Draft)
	in := s.inputs(70*minute+time.Second, nil, 0, []frame.Channel{frame.Flue, frame.Draft})
	in.ChimneyFire = true
	tr.Step(in)
	for _, c := range tr.Rank(overheat, nil) {
		if c.Code == cause.Creosote && c.Weight > 0.4 {
			return
		}
	}
	t.Errorf("%v, want creosote among the likely", tr.Rank(overheat, nil))
}

// Ten minutes without a frame in the middle of it leave the cause to be seen.
func TestAGapIsBridged(t *testing.T) {
	s := scenes["regulator set too high from the start"]
	tr := new(cause.Tracker)
	for at := time.Duration(0); at <= 50*minute; at += time.Second {
		if at > 20*minute && at < 30*minute {
			continue
		}
		tr.Step(s.inputs(at, nil, 0, every))
	}
	if got := tr.Rank(overheat, nil); best(got) != s.want {
		t.Errorf("%v, want %q first", got, s.want)
	}
}

// A site without a draft sensor or a band still has its fuel and its doors judged.
func TestWithoutDraft(t *testing.T) {
	for _, name := range []string{"kindling for firewood", "ash door ajar in the middle of a burn", "a load that nobody told of, on hot coals"} {
		s := scenes[name]
		if got := s.play(time.Second, 1, frame.Firebox, frame.Chamber, frame.Flue).Rank(s.subject, nil); best(got) != s.want {
			t.Errorf("%s: %v, want %q first", name, got, s.want)
		}
	}
	tr := new(cause.Tracker)
	s := scenes["an ordinary slow burn"]
	for at := time.Duration(0); at.Minutes() <= s.until; at += time.Second {
		in := s.inputs(at, nil, 0, every)
		in.DraftLow, in.DraftHigh = 0, 0
		tr.Step(in)
	}
	for _, c := range tr.Rank(overheat, nil) {
		if c.Code == cause.DraftHigh {
			t.Errorf("%v without a band", c)
		}
	}
}

func TestALoggedMoistureSpeaksForDryWood(t *testing.T) {
	s := scenes["dry wood"].scene
	weight := func(moisture float64) float64 {
		s.moisture = moisture
		for _, c := range s.play(time.Second, 1, every...).Rank(overheat, nil) {
			if c.Code == cause.DryFuel {
				return c.Weight
			}
		}
		return 0
	}
	if dry, none, wet := weight(0.07), weight(0), weight(0.2); !(dry > none+0.1 && none > wet+0.1) {
		t.Errorf("weight of dry-fuel with 7 %% logged %.2f, nothing logged %.2f, 20 %% logged %.2f", dry, none, wet)
	}
}

func TestDiffer(t *testing.T) {
	a := []cause.Cause{{Code: cause.DryFuel, Weight: 0.5}, {Code: cause.FineFuel, Weight: 0.3}}
	tests := map[string]struct {
		b    []cause.Cause
		want bool
	}{
		"the same":            {a, false},
		"a little more":       {[]cause.Cause{{Code: cause.DryFuel, Weight: 0.6}}, false},
		"much less":           {[]cause.Cause{{Code: cause.DryFuel, Weight: 0.25}}, true},
		"another first":       {[]cause.Cause{{Code: cause.FineFuel, Weight: 0.5}}, true},
		"nothing any more":    {nil, true},
		"the second one only": {[]cause.Cause{{Code: cause.DryFuel, Weight: 0.5}, {Code: cause.AirLeak, Weight: 0.3}}, false},
	}
	for name, tt := range tests {
		if cause.Differ(a, tt.b) != tt.want || cause.Differ(tt.b, a) != tt.want {
			t.Errorf("%s: want %v", name, tt.want)
		}
	}
	if cause.Differ(nil, nil) {
		t.Error("nothing differs from nothing")
	}
}

func TestOutOfOrderFramesAreLeftOut(t *testing.T) {
	tt := scenes["gate stuck shut in the middle of a burn"]
	tr := tt.play(time.Second, 1, every...)
	want := tr.Rank(overheat, nil)
	late := cause.Inputs{At: 83 * minute, Limits: limits, DraftHigh: bandHigh, Phase: burn.Cold}
	tr.Step(late)
	if got := tr.Rank(overheat, nil); len(got) != len(want) || got[0] != want[0] {
		t.Errorf("%v, want %v", got, want)
	}
}

func TestNothingIsAllocated(t *testing.T) {
	s := scenes["ash door ajar in the middle of a burn"].scene
	tr := s.play(time.Second, 1, every...)
	in := s.inputs(71*minute, nil, 0, nil)
	dst := make([]cause.Cause, 0, len(cause.Codes()))
	if n := testing.AllocsPerRun(200, func() {
		in.At += 3 * time.Second
		tr.Step(in)
		dst = tr.Rank(overheat, dst[:0])
	}); n > 0 {
		t.Errorf("%v allocations a step", n)
	}
}

// BenchmarkRank is the dearest frame: one that ends a slot while an alarm stands.
func BenchmarkRank(b *testing.B) {
	s := scenes["ash door ajar in the middle of a burn"].scene
	tr := s.play(time.Second, 1, every...)
	in := s.inputs(71*minute, nil, 0, nil)
	dst := make([]cause.Cause, 0, len(cause.Codes()))
	for b.Loop() {
		in.Door = !in.Door // forgets what was found
		in.At++
		tr.Step(in)
		dst = tr.Rank(overheat, dst[:0])
	}
}

func BenchmarkStepAndRank(b *testing.B) {
	s := scenes["ash door ajar in the middle of a burn"].scene
	tr := s.play(time.Second, 1, every...)
	in := s.inputs(71*minute, nil, 0, nil)
	dst := make([]cause.Cause, 0, len(cause.Codes()))
	for b.Loop() {
		in.At += time.Second
		tr.Step(in)
		dst = tr.Rank(overheat, dst[:0])
	}
}

// What was seen is said and no more: where a load is only concluded, no door is claimed.
func TestRevivedIsNoVisit(t *testing.T) {
	tracker := scenes["a fire that had burnt down rises again, and nobody saw a door"].scene.play(time.Second, 0, every...)
	list := tracker.Rank(overheat, nil)
	if len(list) == 0 {
		t.Fatal("nothing stands out")
	}
	found := false
	for _, e := range list[0].Evidence {
		switch e.Kind {
		case cause.Revived:
			found = true
			if e.Channel != frame.Flue || e.Value < 90 || e.Value > 140 {
				t.Errorf("%+v", e)
			}
		case cause.Visited, cause.Loaded, cause.OnCoals:
			t.Errorf("claims %+v", e)
		}
	}
	if !found {
		t.Errorf("%+v", list[0])
	}
}
