package app

import (
	"context"
	"testing"
	"testing/synctest"
	"time"
	"unsafe"

	"fluewright/analysis"
	"fluewright/analysis/alarm"
	"fluewright/analysis/frame"
	"fluewright/daemon/internal/status"
	"fluewright/sensors"
)

// ticker makes a loop with a period of a second over a shelf, and collects its ticks.
func ticker(t *testing.T, b board) (*loop, *[]*status.Status) {
	t.Helper()
	s := analysis.Settings{DraftLow: 10, DraftHigh: 15}
	s.Fitted[frame.Flue], s.Limits[frame.Flue] = true, 500
	engine, err := analysis.New(s)
	if err != nil {
		t.Fatal(err)
	}
	var ticks []*status.Status
	l := &loop{
		zone:    time.FixedZone("away", 5*3600),
		period:  time.Second,
		clock:   sensors.SystemClock{},
		frames:  atSea(b, false),
		engine:  engine,
		sensors: func(time.Time) []status.Sensor { return nil },
		supply:  func() status.Supply { return status.Supply{} },
		trusted: func(time.Time) bool { return true },
		feed:    status.NewFeed(),
	}
	l.after = append(l.after, func(s *status.Status) { ticks = append(ticks, s) })
	return l, &ticks
}

// What is said in words is said in the site's time.
func TestLoopHasTheSitesTime(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		l, ticks := ticker(t, shelf{"flue": good(300)})
		now := time.Now()
		l.tick(now)
		s := (*ticks)[0]
		if zone, _ := s.Wall.Zone(); zone != "away" || !s.Wall.Equal(now.Truncate(time.Millisecond)) {
			t.Errorf("it is %v, want %v in the zone of the site", s.Wall, now)
		}
		if zone, _ := s.WallOf(s.Frame.At).Zone(); zone != "away" {
			t.Errorf("a moment is told in the zone %q", zone)
		}
	})
}

func TestLoopKeepsToItsGrid(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		l, ticks := ticker(t, shelf{"flue": good(300)})
		l.after = append(l.after, func(s *status.Status) {
			if s.Seq == 3 {
				<-time.After(1300 * time.Millisecond) // something slow
			}
		})
		ctx, cancel := context.WithTimeout(t.Context(), 6500*time.Millisecond)
		defer cancel()
		if err := l.run(ctx); err != nil {
			t.Fatal(err)
		}
		want := []time.Duration{0, time.Second, 2 * time.Second, 3300 * time.Millisecond, 4 * time.Second, 5 * time.Second, 6 * time.Second}
		var got []time.Duration
		for _, s := range *ticks {
			got = append(got, s.Frame.At)
		}
		if len(got) != len(want) {
			t.Fatalf("ticks at %v, want %v", got, want)
		}
		for i := range want {
			if got[i] != want[i] {
				t.Errorf("tick %d at %v, want %v", i, got[i], want[i])
			}
		}
	})
}

// sleepy is a clock of which one sleep, counted down to, lasts longer.
type sleepy struct {
	sensors.SystemClock
	until *int
	more  time.Duration
}

func (c sleepy) Sleep(ctx context.Context, d time.Duration) error {
	if *c.until--; *c.until == 0 {
		d += c.more
	}
	return c.SystemClock.Sleep(ctx, d)
}

// However late a tick is, the next one is later: a log of what ran backwards could not be read.
func TestTicksNeverRunBackwards(t *testing.T) {
	for late := time.Duration(0); late <= 2500*time.Millisecond; late += 50 * time.Millisecond {
		synctest.Test(t, func(t *testing.T) {
			l, ticks := ticker(t, shelf{"flue": good(300)})
			until := 3
			l.clock = sleepy{until: &until, more: late}
			ctx, cancel := context.WithTimeout(t.Context(), 6500*time.Millisecond)
			defer cancel()
			if err := l.run(ctx); err != nil {
				t.Fatal(err)
			}
			for i, s := range (*ticks)[1:] {
				if before := (*ticks)[i].Frame.At; s.Frame.At <= before {
					t.Errorf("%v late: %v after %v", late, s.Frame.At, before)
				}
			}
		})
	}
}

// What is published stays as it was, whatever the engine does with its buffers.
func TestAPublishedStatusDoesNotChange(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := shelf{"flue": good(600)}
		l, ticks := ticker(t, b)
		ctx, cancel := context.WithTimeout(t.Context(), 120*time.Second)
		defer cancel()
		l.after = append(l.after, func(s *status.Status) {
			if s.Seq == 10 {
				b["flue"] = good(100)
			}
		})
		if err := l.run(ctx); err != nil {
			t.Fatal(err)
		}
		all := *ticks
		if got := stateOf(all[5], overheat).State.String(); got != "raised" {
			t.Errorf("the sixth status now says %q", got)
		}
		if got := stateOf(all[len(all)-1], overheat).Word(); got != "cleared" {
			t.Errorf("the last says %q", got)
		}
	})
}

// While nothing changes, nothing is copied: ten times a second that would be most of the garbage.
func TestAQuietTickTakesOverWhatStands(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := shelf{"flue": good(300)}
		l, ticks := ticker(t, b)
		for i := range 8 {
			if i == 4 {
				b["flue"] = good(600)
			}
			l.tick(time.Now())
			<-time.After(l.period)
		}
		shares := func(i int) bool { return &(*ticks)[i].Assessment.Alarms[0] == &(*ticks)[i-1].Assessment.Alarms[0] }
		if !shares(2) || !shares(3) {
			t.Error("what did not change was copied")
		}
		if got := stateOf((*ticks)[3], overheat).State; got == alarm.Raised || stateOf((*ticks)[7], overheat).State != alarm.Raised {
			t.Errorf("it was %v before the flue was too hot", got)
		}
	})
}

// What the buses read at the beginning of a period is judged within that period.
func TestTicksStandBehindTheLooks(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		l, ticks := ticker(t, shelf{"flue": good(300)})
		l.behind = behindLooks(l.period)
		l.frames.begin(time.Now())
		ctx, cancel := context.WithTimeout(t.Context(), 2500*time.Millisecond)
		defer cancel()
		if err := l.run(ctx); err != nil {
			t.Fatal(err)
		}
		for i, s := range *ticks {
			if want := time.Duration(i)*time.Second + 100*time.Millisecond; s.Frame.At != want {
				t.Errorf("tick %d at %v, want %v", i, s.Frame.At, want)
			}
		}
		if len(*ticks) != 3 {
			t.Errorf("%d ticks", len(*ticks))
		}
	})
}

// late wakes a little later than it was asked to, each time by another time.
type late struct {
	sensors.SystemClock
	by []time.Duration
}

func (l *late) Sleep(ctx context.Context, d time.Duration) error {
	by := l.by[0]
	l.by = append(l.by[1:], by)
	return l.SystemClock.Sleep(ctx, d+by)
}

// A hold time of two periods lasts for two, however late each tick wakes.
func TestAHoldTimeIsNotLongerByChance(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := shelf{"flue": good(300)}
		l, ticks := ticker(t, b)
		l.clock = &late{by: []time.Duration{9 * time.Millisecond, 3 * time.Millisecond, 40 * time.Millisecond, 1}}
		l.after = append(l.after, func(s *status.Status) {
			if s.Seq == 5 {
				b["flue"] = good(600)
			}
		})
		ctx, cancel := context.WithTimeout(t.Context(), 10*time.Second)
		defer cancel()
		if err := l.run(ctx); err != nil {
			t.Fatal(err)
		}
		for i, s := range *ticks {
			if s.Frame.At != time.Duration(i)*time.Second {
				t.Errorf("tick %d is of %v", i, s.Frame.At)
			}
			raised := stateOf(s, overheat).State == alarm.Raised
			if want := s.Seq >= 7; raised != want { // seen at the sixth, and held for a second
				t.Errorf("at tick %d raised: %v", s.Seq, raised)
			}
		}
	})
}

// set is a clock that a test drives, and whose wall clock is set once, as a computer's is.
type set struct {
	now  time.Time
	past time.Duration
	at   time.Duration // when it is set
	by   time.Duration // by so many whole seconds
	late time.Duration // each sleep lasts so much longer
	ends time.Duration
}

func (c *set) Now() time.Time {
	now := c.now.Add(c.past)
	if c.past >= c.at {
		// A time that was read from the clock has its wall clock's seconds above 30 bits of
		// nanoseconds; there is no other way to have one whose two clocks disagree.
		*(*uint64)(unsafe.Pointer(&now)) += uint64(c.by/time.Second) << 30
	}
	return now
}

func (c *set) Sleep(_ context.Context, d time.Duration) error {
	if c.past += d + c.late; c.past >= c.ends {
		return context.Canceled
	}
	return nil
}

// A computer without a clock of its own begins in the past, and is set minutes later.
func TestLoopFollowsTheWallClock(t *testing.T) {
	const twoHundredDays = 200 * 24 * time.Hour
	clock := &set{now: time.Now(), at: 2500 * time.Millisecond, by: twoHundredDays, late: 3 * time.Millisecond, ends: 4500 * time.Millisecond}
	before := clock.now.Add(3 * time.Second)
	if after := (&set{now: before, by: twoHundredDays}).Now(); after.Sub(before) != 0 || after.Round(0).Sub(before.Round(0)) != twoHundredDays {
		t.Fatalf("the clock that is set has gone on by %v and shows %v more", after.Sub(before), after.Round(0).Sub(before.Round(0)))
	}
	l, ticks := ticker(t, shelf{"flue": good(300)})
	l.clock = clock
	l.frames.begin(clock.now)
	if err := l.run(t.Context()); err != nil {
		t.Fatal(err)
	}
	for i, s := range *ticks {
		at := time.Duration(i) * time.Second
		want := clock.now.Add(at).Truncate(time.Millisecond)
		if i >= 3 {
			want = want.Add(twoHundredDays)
		}
		if s.Frame.At != at || !s.Wall.Equal(want) {
			t.Errorf("tick %d at %v, %v, want %v, %v", i, s.Frame.At, s.Wall, at, want)
		}
	}
	if len(*ticks) != 5 {
		t.Errorf("%d ticks", len(*ticks))
	}
}
