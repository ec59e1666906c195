package installer

import (
	"encoding/json"
	"math/rand/v2"
	"testing"
	"time"

	"fluewright/analysis/commissioning"
)

// played plays a house of the demonstration to its end.
func played(t *testing.T, name string, between func(*Player)) *Player {
	t.Helper()
	p, err := Build(name, 1)
	if err != nil {
		t.Fatal(err)
	}
	p.Between = between
	if err := p.Play(); err != nil {
		t.Fatal(err)
	}
	return p
}

func TestFourHouses(t *testing.T) {
	for _, c := range []struct {
		name    string
		over    bool
		at      commissioning.Step
		want    [commissioning.Steps]commissioning.Outcome
		found   commissioning.Code // in the step named
		in      commissioning.Step
		changed bool // of the mark
	}{
		{
			name: "tall", over: true, at: commissioning.Closing, in: commissioning.Setting, found: "mark",
			want: all(commissioning.Passed),
		},
		{
			name: "short", over: true, at: commissioning.Closing, in: commissioning.SiteData, found: "exterior",
			want: with(all(commissioning.Passed), commissioning.SiteData, commissioning.Cautioned),
		},
		{
			name: "altitude", over: true, at: commissioning.Closing, in: commissioning.SiteData, found: "altitude",
			want: all(commissioning.Passed), changed: true,
		},
		{
			name: "blocked", at: commissioning.ColdDraft, in: commissioning.ColdDraft, found: "dead-flue",
			want: [commissioning.Steps]commissioning.Outcome{
				commissioning.Passed, commissioning.Passed, commissioning.Passed, commissioning.Failure,
			},
		},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := played(t, c.name, nil).State
			if s.Over() != c.over || s.Now != c.at {
				t.Errorf("it ended at %v, %s", s.Now, s.Task)
			}
			for step, r := range s.Results {
				if r.Outcome != c.want[step] {
					t.Errorf("%v: %v, want %v: %+v", commissioning.Step(step), r.Outcome, c.want[step], r.Findings)
				}
			}
			if _, ok := s.Results[c.in].Find(c.found); !ok {
				t.Errorf("%v does not tell of %s: %+v", c.in, c.found, s.Results[c.in].Findings)
			}
			if moved := s.Mark-s.Site.Regulator.Mark > 0.5; moved != c.changed {
				t.Errorf("the mark went from %g to %g", s.Site.Regulator.Mark, s.Mark)
			}
		})
	}
}

func all(o commissioning.Outcome) (out [commissioning.Steps]commissioning.Outcome) {
	for i := range out {
		out[i] = o
	}
	return out
}

func with(all [commissioning.Steps]commissioning.Outcome, s commissioning.Step, o commissioning.Outcome) [commissioning.Steps]commissioning.Outcome {
	all[s] = o
	return all
}

// again writes the state down and reads it back, as a restart does.
func again(t *testing.T, p *Player) {
	t.Helper()
	text, err := json.Marshal(p.State)
	if err != nil {
		t.Fatal(err)
	}
	s := &commissioning.State{}
	if err := json.Unmarshal(text, s); err != nil {
		t.Fatal(err)
	}
	p.State = s
}

func record(t *testing.T, p *Player) string {
	t.Helper()
	text, err := json.Marshal(p.State)
	if err != nil {
		t.Fatal(err)
	}
	return string(text)
}

// A state that is written down and read back at any frame gives the same results, bit for
// bit.
func TestInterruptedAnywhereTheResultsAreTheSame(t *testing.T) {
	want := record(t, played(t, "short", nil))
	rounds := 6
	if testing.Short() {
		rounds = 1
	}
	for round := range rounds {
		r := rand.New(rand.NewPCG(uint64(round), 1))
		share := []float64{1, 0.3, 0.1, 0.03, 0.01, 0.003}[round]
		got := record(t, played(t, "short", func(p *Player) {
			if r.Float64() < share {
				again(t, p)
			}
		}))
		if got != want {
			t.Fatalf("round %d: interrupted\n%s\nand not\n%s", round, got, want)
		}
	}
}

// A day's pause in any task loses nothing of what was measured before it, and the procedure
// ends as it would have.
func TestADaysPauseLosesNothing(t *testing.T) {
	names := []commissioning.Task{
		commissioning.ZeroDraft, commissioning.BlowHose, commissioning.CompareCold, commissioning.WarmProbe,
		commissioning.ReadCold, commissioning.ReadFans, commissioning.ReadMark, commissioning.VerifyLow, commissioning.VerifyHigh,
		commissioning.ReadFree, commissioning.HoldGate, commissioning.ReleaseGate, commissioning.OpenDoor, commissioning.ShutDoor,
	}
	if testing.Short() {
		names = names[4:7]
	}
	for _, task := range names {
		t.Run(string(task), func(t *testing.T) {
			paused := false
			p := played(t, "tall", func(p *Player) {
				if paused || !p.State.Running || p.State.Task != task || p.State.Watch.Elapsed < 3 {
					return
				}
				paused = true
				before := p.State.Results
				again(t, p)
				p.State.Resume(24 * time.Hour)
				for step, r := range before {
					if len(p.State.Results[step].Findings) < len(r.Findings) {
						t.Errorf("%v has lost findings", commissioning.Step(step))
					}
				}
			})
			if !paused {
				t.Fatal("it never came to that task")
			}
			if !p.State.Over() {
				t.Errorf("it ended at %v, %s", p.State.Now, p.State.Task)
			}
		})
	}
}

// The fire burns on while nobody looks: its clock goes on.
func TestTheFiresClockGoesOnOverARestart(t *testing.T) {
	done := false
	p := played(t, "tall", func(p *Player) {
		if !done && p.State.Task == commissioning.LightFire && p.State.Watch.Elapsed > 100 {
			done = true
			again(t, p)
			p.State.Resume(10 * time.Minute)
		}
	})
	plain := played(t, "tall", nil)
	if got := p.State.Moments.Clean - plain.State.Moments.Clean; got < 595 || got > 605 {
		t.Errorf("a restart of 600 s moved the clean burn by %g s", got)
	}
}

// With flue and draft alone the procedure ends too, and says what it did not judge.
func TestFlueAndDraftAlone(t *testing.T) {
	p, err := Build("tall", 1)
	if err != nil {
		t.Fatal(err)
	}
	p.House.Bare = true
	if err := p.Play(); err != nil {
		t.Fatal(err)
	}
	s := p.State
	if !s.Over() || s.Results[commissioning.Setting].Outcome != commissioning.Passed {
		t.Fatalf("it ended at %v, %s: %+v", s.Now, s.Task, s.Results)
	}
	if _, ok := s.Results[commissioning.FirstFire].Find("fan-not-read"); !ok {
		t.Errorf("%+v", s.Results[commissioning.FirstFire])
	}
	if f, ok := s.Results[commissioning.ColdDraft].Find("cold-draft"); !ok || f.To-f.From < 6 {
		t.Errorf("without an outdoor reading the prediction is %+v", f)
	}
}

// From 0.2 to 5 Hz the same houses come to the same.
func TestAnyRate(t *testing.T) {
	for _, tick := range []time.Duration{200 * time.Millisecond, 5 * time.Second} {
		p, err := Build("altitude", 1)
		if err != nil {
			t.Fatal(err)
		}
		p.Tick = tick
		if err := p.Play(); err != nil {
			t.Fatalf("%v: %v", tick, err)
		}
		if s := p.State; !s.Over() || s.Mark < 2.5 || s.Mark > 4 {
			t.Errorf("%v: it ended at %v, %s with mark %g: %+v", tick, s.Now, s.Task, s.Mark, s.Results)
		}
	}
}

func TestSeasonStart(t *testing.T) {
	first := played(t, "tall", nil)
	p, err := Build("tall", 2)
	if err != nil {
		t.Fatal(err)
	}
	if p.State, err = commissioning.NewSeason(first.State.Site, first.State.Mark); err != nil {
		t.Fatal(err)
	}
	if err := p.Play(); err != nil {
		t.Fatal(err)
	}
	if !p.State.Over() {
		t.Fatalf("it ended at %v, %s: %+v", p.State.Now, p.State.Task, p.State.Results)
	}
	for _, step := range []commissioning.Step{commissioning.ByEye, commissioning.Proof, commissioning.Limits} {
		if o := p.State.Results[step].Outcome; o != commissioning.NotAsked {
			t.Errorf("%v: %v", step, o)
		}
	}
	if n := len(p.State.Numbers.Readings); n != 1 {
		t.Errorf("%d readings at marks, want one", n)
	}
}
