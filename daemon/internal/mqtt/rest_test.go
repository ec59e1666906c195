package mqtt

import (
	"context"
	"testing"
	"testing/synctest"
	"time"

	"fluewright/analysis/alarm"
	"fluewright/analysis/frame"
	"fluewright/daemon/internal/status"
	"fluewright/daemon/internal/status/statustest"
)

func TestRest(t *testing.T) {
	const almost = 0.9999999
	for _, tt := range []struct {
		rest    rest
		attempt int
		u       float64
		want    time.Duration
	}{
		{calm, 0, 0, 100 * time.Millisecond},
		{calm, 0, 0.5, 20 * time.Second},
		{calm, 2, 0.5, 80 * time.Second},
		{calm, 3, 0.5, 150 * time.Second},
		{calm, 1 << 30, 0.5, 150 * time.Second},
		{inHurry, 0, 0.5, 2500 * time.Millisecond},
		{inHurry, 1, 0.5, 5 * time.Second},
		{inHurry, 1 << 30, 0.5, 15 * time.Second},
	} {
		if got := tt.rest.wait(tt.attempt, tt.u); got != tt.want {
			t.Errorf("%v.wait(%d, %g) = %v, want %v", tt.rest, tt.attempt, tt.u, got, tt.want)
		}
	}
	for attempt := range 100 {
		if got := calm.wait(attempt, almost); got > calm.longest {
			t.Errorf("wait(%d) = %v", attempt, got)
		}
	}
}

// away is a publisher that has no broker, after a tick.
func away(t *testing.T, change func(*status.Status)) (*Publisher, *status.Status) {
	t.Helper()
	p, err := New(options("tcp://localhost"))
	if err != nil {
		t.Fatal(err)
	}
	s := statustest.Burning()
	p.Offer(s)
	s = statustest.After(s, time.Second)
	change(s)
	p.Offer(s)
	return p, s
}

func nothing(*status.Status) {}

func spill(s *status.Status) { statustest.Change(s, alarm.Spillage, frame.Count, alarm.Raised, -2, 0) }

func impair(s *status.Status) {
	s.Assessment.Alarms = append(s.Assessment.Alarms, alarm.Status{Key: alarm.Key{Name: alarm.MonitorImpaired, Channel: frame.Count}, Priority: alarm.Medium})
	statustest.Change(s, alarm.MonitorImpaired, frame.Count, alarm.Raised, 0, 0)
}

// Whoever is in a hurry tries soon, and the others leave room.
func TestWhoWaitsHowLong(t *testing.T) {
	for name, tt := range map[string]struct {
		change func(*status.Status)
		before func(*Publisher) // each pause
		most   time.Duration
	}{
		"nothing to say":           {nothing, nil, calm.first},
		"the change of an alarm":   {spill, nil, inHurry.first},
		"a change that is told":    {func(s *status.Status) { statustest.Change(s, alarm.DraftLow, frame.Count, alarm.Raised, 3, 10) }, (*Publisher).takenAll, calm.first},
		"a hazard that still is":   {spill, (*Publisher).takenAll, inHurry.first},
		"the monitor is impaired":  {impair, nil, calm.first},
		"somebody asks":            {nothing, func(p *Publisher) { p.asked = time.Now() }, inHurry.first},
		"somebody asked yesterday": {nothing, func(p *Publisher) { p.asked = time.Now().Add(-24 * time.Hour) }, calm.first},
	} {
		t.Run(name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				p, _ := away(t, tt.change)
				var sum, longest time.Duration
				const times = 300
				for range times {
					if tt.before != nil {
						tt.before(p)
					}
					began := time.Now()
					p.pause(t.Context(), new(pauses))
					sum, longest = sum+time.Since(began), max(longest, time.Since(began))
				}
				if mean := sum / times; longest > tt.most || mean < tt.most*4/10 || mean > tt.most*6/10 {
					t.Errorf("%v on average, %v at most; want up to %v", sum/times, longest, tt.most)
				}
			})
		})
	}
}

// takenAll is the broker's acknowledgement of all that waits.
func (p *Publisher) takenAll() {
	for {
		m, _ := p.next()
		if m == nil {
			return
		}
		p.delivered(m)
	}
}

// An alarm that comes up in a long pause cuts it short; one that does not matter does not.
func TestAnAlarmEndsAPause(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		for range 50 {
			p, s := away(t, nothing)
			p.calm = rest{10 * time.Hour, 10 * time.Hour}
			began := time.Now()
			var alarmed time.Time
			go func() {
				time.Sleep(time.Second)
				s := statustest.After(s, time.Second)
				statustest.Change(s, alarm.DraftLow, frame.Count, alarm.Raised, 3, 10)
				alarmed = time.Now()
				p.Offer(s)
			}()
			if !p.pause(t.Context(), new(pauses)) || time.Since(alarmed) > inHurry.first && time.Since(began) > time.Second {
				t.Fatalf("it took %v after the alarm", time.Since(alarmed))
			}
			synctest.Wait()
			time.Sleep(time.Second)
		}
		p, _ := away(t, nothing)
		ctx, cancel := context.WithTimeout(t.Context(), time.Millisecond)
		defer cancel()
		if p.pause(ctx, new(pauses)) {
			t.Error("a pause outlasts the program")
		}
	})
}

// A thousand monitors whose broker ends come back no more than fifty a second, those in a hurry
// among them at once, and also after an absence of minutes.
func TestAThousandDoNotKnockAtOnce(t *testing.T) {
	for name, absence := range map[string]time.Duration{"a restart": 0, "five minutes": 5 * time.Minute} {
		t.Run(name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				began := time.Now()
				knocks := make(chan time.Duration, 100_000)
				ctx, cancel := context.WithTimeout(t.Context(), absence+10*time.Minute)
				defer cancel()
				for n := range 1000 {
					change := nothing
					if n%50 == 0 {
						change = spill
					}
					p, _ := away(t, change)
					go func() {
						for w := (pauses{}); p.pause(ctx, &w); {
							knocks <- time.Since(began)
							if time.Since(began) > absence {
								return
							}
						}
					}()
				}
				<-ctx.Done()
				synctest.Wait()
				perSecond := map[time.Duration]int{}
				for len(knocks) > 0 {
					if at := <-knocks; at > absence {
						perSecond[at.Truncate(time.Second)]++
					}
				}
				most, all := 0, 0
				for _, n := range perSecond {
					most, all = max(most, n), all+n
				}
				if most > 50 || all != 1000 {
					t.Errorf("%d came, up to %d in a second", all, most)
				}
				t.Logf("%d came, up to %d in a second", all, most)
			})
		})
	}
}
