package now

import (
	"context"
	"fmt"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"github.com/google/go-cmp/cmp"

	"fluewright/analysis/alarm"
	"fluewright/analysis/frame"
	"fluewright/daemon/internal/status"
	"fluewright/daemon/internal/status/statustest"
)

func TestTheBar(t *testing.T) {
	text := func(v float64) string { return fmt.Sprint(v) }
	for _, tt := range []struct {
		v       float64
		pointer float64
		beyond  string
	}{
		{0, 76.8, ""},
		{10, 214.4, ""},
		{20, barRight, ""},
		{20.01, barRight, "more"},
		{-5, barLeft, ""},
		{-6, barLeft, "less"},
	} {
		got := draw(tt.v, 5, 10, text)
		if diff := got.Pointer - tt.pointer; diff > 1e-9 || diff < -1e-9 || got.Beyond != tt.beyond {
			t.Errorf("draw(%g) points at %g %q, want %g %q", tt.v, got.Pointer, got.Beyond, tt.pointer, tt.beyond)
		}
		if !(got.Zero < got.Low && got.Low < got.High && got.High < barRight) {
			t.Errorf("the marks are at %g, %g, %g", got.Zero, got.Low, got.High)
		}
	}
}

// TestASlowReader loses the oldest and holds nobody up.
func TestASlowReader(t *testing.T) {
	n := 0
	l := newLive(func() ([]byte, string, error) {
		n++
		return []byte(fmt.Sprintf("<p>\n%d\n", n)), "20:15:00", nil
	})
	ch := l.join()
	for range 10 {
		l.send()
	}
	var got []string
	for len(ch) > 0 {
		got = append(got, string(<-ch))
	}
	if len(got) != backlog {
		t.Errorf("%d events wait, want %d", len(got), backlog)
	}
	want := "event: parts\nid: 10\ndata: <p>\ndata: 11\n\nevent: beat\nid: 10\ndata: 20:15:00\n\n"
	if diff := cmp.Diff(want, got[len(got)-1]); diff != "" {
		t.Errorf("the newest (-want +got):\n%s", diff)
	}
}

func TestABeatWhereNothingChanged(t *testing.T) {
	l := newLive(func() ([]byte, string, error) { return []byte("<p>"), "20:15:00", nil })
	ch := l.join()
	<-ch
	l.send()
	<-ch
	l.send()
	if diff := cmp.Diff("event: beat\nid: 2\ndata: 20:15:00\n\n", string(<-ch)); diff != "" {
		t.Errorf("the beat (-want +got):\n%s", diff)
	}
}

// TestWhoJoinsBetweenTwoEvents must not be left with what was there only meanwhile.
func TestWhoJoinsBetweenTwoEvents(t *testing.T) {
	now := "well"
	l := newLive(func() ([]byte, string, error) { return []byte(now), "20:15:00", nil })
	first := l.join()
	l.send()
	now = "alarm"
	second := l.join()
	now = "well"
	l.send()
	for len(first) > 0 {
		<-first
	}
	<-second
	if got := string(<-second); !strings.Contains(got, "data: well") {
		t.Errorf("after %q the second reader got %q", "alarm", got)
	}
}

// TestAnAlarmDoesNotWait for the second: what happens to it is sent at once.
func TestAnAlarmDoesNotWait(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		ctx, cancel := context.WithCancel(t.Context())
		n := 0
		l := newLive(func() ([]byte, string, error) { n++; return fmt.Appendf(nil, "<p>%d</p>", n), "20:15:00", nil })
		feed := status.NewFeed()
		go l.run(ctx, feed.SubscribeTo(ctx, alarmChanged))
		ch := l.join()
		<-ch
		began := time.Now()
		time.Sleep(300 * time.Millisecond)
		feed.Publish(statustest.Burning())
		alarming := statustest.Burning()
		statustest.Change(alarming, alarm.Spillage, frame.Count, alarm.Raised, -2, 0)
		feed.Publish(alarming)
		synctest.Wait()
		feed.Publish(alarming) // a storm is not followed change by change
		for _, want := range []time.Duration{300 * time.Millisecond, time.Second, 2 * time.Second} {
			<-ch
			if got := time.Since(began); got != want {
				t.Errorf("an event came after %v, want %v", got, want)
			}
		}
		cancel()
		synctest.Wait()
		if _, ok := <-ch; ok {
			t.Error("the stream does not end")
		}
	})
}
