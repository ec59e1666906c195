package notice_test

import (
	"math"
	"slices"
	"testing"
	"time"

	"fluewright/analysis/burn"
	"fluewright/analysis/frame"
	"fluewright/analysis/notice"

	"pgregory.net/rapid"
)

// stove is a furnace whose readings the test moves, once in ten seconds.
type stove struct {
	tracker burn.Tracker
	judge   notice.Judge
	values  frame.Values
	at      time.Duration
	given   []notice.Notice
}

func newStove() *stove {
	s := &stove{at: time.Minute}
	for c := range s.values {
		s.values[c] = math.NaN()
	}
	s.values[frame.Flue], s.values[frame.Draft], s.values[frame.Return] = 20, 3, 20
	s.toward(time.Minute, 10*time.Minute, nil)
	return s
}

func (s *stove) step() {
	ch := s.tracker.Step(burn.Inputs{At: s.at, Values: s.values})
	s.given = append(s.given, s.judge.Step(notice.Inputs{At: s.at, Values: s.values, Tracker: &s.tracker, Changes: ch})...)
	s.at += 10 * time.Second
}

func (s *stove) toward(tau, d time.Duration, to map[frame.Channel]float64) {
	for range int(d / (10 * time.Second)) {
		for c, v := range to {
			s.values[c] += (v - s.values[c]) * -math.Expm1(-10/tau.Seconds())
		}
		s.step()
	}
}

type set = map[frame.Channel]float64

func (s *stove) burnUp() {
	s.toward(20*time.Minute, 2*time.Hour, set{frame.Flue: 260, frame.Draft: 13})
}
func (s *stove) burnDown() { s.toward(30*time.Minute, 90*time.Minute, set{frame.Flue: 60}) }
func (s *stove) goOut()    { s.toward(30*time.Minute, 4*time.Hour, set{frame.Flue: 20, frame.Draft: 3}) }

func (s *stove) names() []notice.Name {
	var names []notice.Name
	for _, n := range s.given {
		names = append(names, n.Name)
	}
	return names
}

func TestNotices(t *testing.T) {
	tests := map[string]struct {
		do   func(*stove)
		want []notice.Name
	}{
		"an ordinary burn": {
			func(s *stove) { s.burnUp(); s.burnDown(); s.goOut() },
			[]notice.Name{notice.FireOut},
		},
		"the house gets cooler over coals, once": {
			func(s *stove) {
				s.burnUp()
				s.burnDown()
				s.toward(time.Hour, time.Hour, set{frame.Return: 17})
			},
			[]notice.Name{notice.ReloadDue},
		},
		"nobody asks on a mild day": {
			func(s *stove) {
				s.values[frame.Outdoor] = 18
				s.burnUp()
				s.burnDown()
				s.toward(time.Hour, time.Hour, set{frame.Return: 17})
			},
			nil,
		},
		"the plenum is still warm": {
			func(s *stove) {
				s.values[frame.Plenum] = 50
				s.burnUp()
				s.burnDown()
				s.toward(time.Hour, time.Hour, set{frame.Return: 17})
			},
			nil,
		},
		"a start that never gets hot": {
			func(s *stove) {
				s.toward(20*time.Minute, 100*time.Minute, set{frame.Flue: 150, frame.Draft: 9})
			},
			[]notice.Name{notice.Smoulder, notice.SlowStart},
		},
		"a wet flue in bitter cold": {
			func(s *stove) {
				s.values[frame.Outdoor] = -35
				s.toward(20*time.Minute, 80*time.Minute, set{frame.Flue: 95, frame.Draft: 2})
			},
			[]notice.Name{notice.Condensing},
		},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			s := newStove()
			tt.do(s)
			for _, n := range s.given {
				if n.Name == notice.SlowStart && (n.For < 90*time.Minute || n.For > 91*time.Minute) {
					t.Errorf("said after %v", n.For)
				}
			}
			got := s.names()
			slices.Sort(got)
			slices.Sort(tt.want)
			if !slices.Equal(got, tt.want) {
				t.Errorf("%v, want %v", got, tt.want)
			}
		})
	}
}

// Each burn and each load is an occasion of its own.
func TestAgainWithTheNextBurn(t *testing.T) {
	s := newStove()
	for range 2 {
		s.toward(20*time.Minute, 3*time.Hour, set{frame.Flue: 150, frame.Draft: 9})
		s.goOut()
	}
	for _, n := range []notice.Name{notice.Smoulder, notice.SlowStart, notice.FireOut} {
		count := 0
		for _, g := range s.names() {
			if g == n {
				count++
			}
		}
		want := 2
		if n != notice.FireOut && s.tracker.Finished.Clean.How == burn.Observed {
			want = 1 // by then 150 °C was known to be usual
		}
		if count != want {
			t.Errorf("%s %d times, want %d", n, count, want)
		}
	}
}

func TestUpkeep(t *testing.T) {
	s := newStove()
	s.burnUp()
	s.judge.Upkeep.Burnt[notice.Ash] = 7*24 - 0.5
	s.toward(time.Hour, 20*time.Minute, nil)
	if got := s.names(); len(got) != 0 {
		t.Fatalf("too soon: %v", got)
	}
	s.toward(time.Hour, 2*time.Hour, nil)
	if len(s.given) != 1 || s.given[0].Name != notice.UpkeepDue || s.given[0].Job != notice.Ash || s.given[0].For < 7*24*time.Hour {
		t.Fatalf("%+v", s.given)
	}
	// Kept over a restart it is not told again; done, it counts anew.
	kept := s.judge.Upkeep
	s.judge = notice.Judge{Upkeep: kept.Sane()}
	s.toward(time.Hour, time.Hour, nil)
	if len(s.given) != 1 {
		t.Errorf("told again: %+v", s.given)
	}
	s.judge.Upkeep.Done(notice.Ash)
	s.toward(time.Hour, time.Hour, nil)
	if u := s.judge.Upkeep; len(s.given) != 1 || math.Abs(u.Burnt[notice.Ash]-1) > 0.01 || u.Told[notice.Ash] {
		t.Errorf("%+v, %+v", s.given, u)
	}
	s.judge.Upkeep.Tar = 60
	s.toward(time.Hour, time.Minute, nil)
	if len(s.given) != 2 || s.given[1].Job != notice.Flue {
		t.Errorf("%+v", s.given)
	}
	s.judge.Upkeep.Done(notice.Flue)
	if s.judge.Upkeep.Tar != 0 {
		t.Error("the flue was swept")
	}
	s.judge.Upkeep.Done(notice.Job(99))
}

// Only time with a fire counts.
func TestAColdFurnaceNeedsNothing(t *testing.T) {
	s := newStove()
	s.toward(time.Hour, 24*time.Hour, nil)
	if s.judge.Upkeep != (notice.Upkeep{}) || len(s.given) != 0 {
		t.Errorf("%+v %+v", s.judge.Upkeep, s.given)
	}
}

func TestSpoiltUpkeepIsMended(t *testing.T) {
	u := notice.Upkeep{Tar: math.NaN()}
	u.Burnt = [4]float64{-1, math.Inf(1), 12, math.NaN()}
	if got := u.Sane(); got.Tar != 0 || got.Burnt != [4]float64{0, 0, 12, 0} {
		t.Errorf("%+v", got)
	}
}

func TestEveryNoticeIsDeclaredWhole(t *testing.T) {
	for _, d := range notice.Declarations() {
		if d.Title == "" || d.Meaning == "" || d.Action == "" || (d.Job == notice.NoJob) == (d.Name == notice.UpkeepDue) {
			t.Errorf("%s %v is declared in part only", d.Name, d.Job)
		}
	}
	for _, n := range []notice.Name{notice.Smoulder, notice.Condensing, notice.SlowStart, notice.FireOut, notice.ReloadDue} {
		if _, ok := notice.Declared(n, notice.NoJob); !ok {
			t.Errorf("%s is not declared", n)
		}
	}
	for _, j := range notice.Jobs() {
		if _, ok := notice.Declared(notice.UpkeepDue, j); !ok || j.String() == "none" {
			t.Errorf("%v is not declared", j)
		}
	}
}

// feed runs any frames and checks what comes of them.
func feed(t interface{ Fatalf(string, ...any) }, frames []burn.Inputs) {
	var tr burn.Tracker
	var j notice.Judge
	for _, in := range frames {
		ch := tr.Step(in)
		for _, n := range j.Step(notice.Inputs{At: in.At, Values: in.Values, Tracker: &tr, Changes: ch}) {
			if _, ok := notice.Declared(n.Name, n.Job); !ok || n.For < 0 {
				t.Fatalf("%+v", n)
			}
		}
		if j.Upkeep != j.Upkeep.Sane() {
			t.Fatalf("%+v", j.Upkeep)
		}
	}
}

func TestAnyFrames(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var frames []burn.Inputs
		at := time.Duration(0)
		for range rapid.IntRange(1, 200).Draw(t, "frames") {
			at += time.Duration(rapid.SampledFrom([]int64{-5e9, 1e9, 60e9, 600e9, 3 * 3600e9}).Draw(t, "dt"))
			if rapid.IntRange(0, 50).Draw(t, "jump") == 0 {
				at = time.Duration(rapid.Int64().Draw(t, "at"))
			}
			in := burn.Inputs{At: at}
			for c := range in.Values {
				in.Values[c] = rapid.SampledFrom([]float64{math.NaN(), math.Inf(-1), 1e300, -20, 0, 15, 60, 150, 300, 600}).Draw(t, "value")
			}
			frames = append(frames, in)
		}
		feed(t, frames)
	})
}

func FuzzStep(f *testing.F) {
	f.Add([]byte{10, 0, 0, 60, 0, 0, 0, 0, 20, 0})
	f.Fuzz(func(t *testing.T, data []byte) {
		var frames []burn.Inputs
		at := time.Duration(0)
		for ; len(data) >= 10; data = data[10:] {
			at += time.Duration(int8(data[0])) * time.Minute
			if data[0] == 127 {
				at = math.MinInt64
			}
			in := burn.Inputs{At: at}
			for c := range in.Values {
				in.Values[c] = float64(data[1+c])*4 - 50
				if data[1+c] == 255 {
					in.Values[c] = math.NaN()
				}
			}
			frames = append(frames, in)
		}
		feed(t, frames)
	})
}

func TestNothingIsAllocated(t *testing.T) {
	s := newStove()
	s.burnUp()
	s.given = make([]notice.Notice, 0, 1000)
	if n := testing.AllocsPerRun(2000, s.step); n != 0 {
		t.Errorf("%g allocations a step", n)
	}
}
