package mqtt

import (
	"bytes"
	"context"
	"errors"
	"log/slog"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"github.com/google/go-cmp/cmp"

	"fluewright/analysis"
	"fluewright/analysis/alarm"
	"fluewright/analysis/burn"
	"fluewright/analysis/frame"
	"fluewright/daemon/internal/status"
	"fluewright/daemon/internal/status/statustest"
)

// raising is a tick at which the flue gets too hot and the phase changes.
func raising() *status.Status {
	s := statustest.Burning()
	s.Frame.At += time.Minute
	statustest.Change(s, alarm.Overheat, frame.Flue, alarm.Raised, 705, 700)
	s.Assessment.Events = append(s.Assessment.Events, analysis.Event{Kind: analysis.PhaseChanged, At: s.Frame.At, From: burn.WarmUp, To: burn.CleanBurn})
	return s
}

// waiting returns what would be sent now, beside telemetry.
func (p *Publisher) waiting() []string {
	p.mu.Lock()
	defer p.mu.Unlock()
	var topics []string
	for _, topic := range drain(&p.queue) {
		topics = append(topics, strings.TrimPrefix(topic, root("", p.o.Site)))
	}
	return topics
}

func TestAlarmsAreDurableBeforeTheyAreAnnounced(t *testing.T) {
	tests := map[string]struct {
		takes time.Duration
		err   error
		after time.Duration // until it is announced
		said  int
	}{
		"storage as it should be": {30 * time.Millisecond, nil, 30 * time.Millisecond, 0},
		"storage that fails":      {0, errors.New("full"), 0, 1},
		"storage that stalls":     {time.Minute, nil, 2 * time.Second, 1},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				var log bytes.Buffer
				o := options("tcp://127.0.0.1:1")
				o.Log = slog.New(slog.NewTextHandler(&log, nil))
				o.Durable = func(ctx context.Context) error {
					select {
					case <-time.After(tt.takes):
						return tt.err
					case <-ctx.Done():
						return ctx.Err()
					}
				}
				p, err := New(o)
				if err != nil {
					t.Fatal(err)
				}
				p.Offer(statustest.Burning())
				p.waiting()
				for range 3 { // more ticks, of which the last two change nothing
					s := raising()
					if p.events > 0 {
						s.Assessment.Events = nil
					}
					p.Offer(s)
				}
				want := []string{"alarm/overheat/flue", "event", "event"}
				if tt.after > 0 {
					time.Sleep(tt.after - time.Millisecond)
					if diff := cmp.Diff([]string{"state", "telemetry"}, p.waiting()); diff != "" {
						t.Errorf("before it is durable (-want +got):\n%s", diff)
					}
				} else {
					want = append(want, "state", "telemetry")
				}
				time.Sleep(time.Millisecond)
				synctest.Wait()
				if diff := cmp.Diff(want, p.waiting()); diff != "" {
					t.Errorf("after it (-want +got):\n%s", diff)
				}
				if n := strings.Count(log.String(), "before it is in the history"); n != tt.said {
					t.Errorf("said %d times, want %d:\n%s", n, tt.said, log.String())
				}
			})
		})
	}
}

// What is said later of an alarm, or to a broker that comes back, does not overtake it.
func TestNothingOfAnAlarmOvertakesIt(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		o := options("tcp://127.0.0.1:1")
		o.Durable = func(ctx context.Context) error { <-ctx.Done(); return ctx.Err() }
		p, err := New(o)
		if err != nil {
			t.Fatal(err)
		}
		s := raising()
		p.Offer(s)
		time.Sleep(announceWithin / 2)
		later := raising()
		later.Frame.At += 2 * settle
		later.Assessment.Events = nil
		for i := range later.Assessment.Alarms {
			later.Assessment.Alarms[i].Blind = true
		}
		p.Offer(later)
		p.greet()
		for _, topic := range p.waiting() {
			if topic == "event" || strings.HasPrefix(topic, "alarm/") {
				t.Errorf("%s is sent before its time", topic)
			}
		}
		time.Sleep(announceWithin / 2)
		synctest.Wait()
		if got := p.waiting(); len(got) < 3 {
			t.Errorf("afterwards %q", got)
		}
	})
}
