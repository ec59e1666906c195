package trend_test

import (
	"context"
	"math"
	"reflect"
	"testing"
	"time"

	"fluewright/analysis"
	"fluewright/analysis/alarm"
	"fluewright/analysis/frame"
	"fluewright/analysis/notice"
	"fluewright/daemon/internal/history"
	"fluewright/daemon/internal/trend"
	"fluewright/daemon/internal/trend/trendtest"
)

// counting counts the events that are read.
type counting struct {
	trend.Log
	events int
}

func (c *counting) Newest(ctx context.Context, kind string, before int64, most int) ([]history.Event, error) {
	all, err := c.Log.Newest(ctx, kind, before, most)
	c.events += len(all)
	return all, err
}

func (c *counting) Following(ctx context.Context, kind string, after int64, most int) ([]history.Event, error) {
	all, err := c.Log.Following(ctx, kind, after, most)
	c.events += len(all)
	return all, err
}

func (c *counting) Events(ctx context.Context, kind string, from, to time.Time) ([]history.Event, error) {
	all, err := c.Log.Events(ctx, kind, from, to)
	c.events += len(all)
	return all, err
}

// The pages of the table are the table.
func TestThePagesOfBurns(t *testing.T) {
	k := trendtest.Keep(t, t.TempDir(), evening)
	for i := range 100 {
		end := time.Duration(i+1) * 8 * time.Hour
		k.At(end-2*time.Hour, k.Alarm(alarm.DraftHigh, frame.Count, alarm.WasRaised))
		k.At(end, k.Burn(end, 5*time.Hour), analysis.Event{Kind: analysis.NoticeGiven, Notice: notice.Notice{Name: notice.FireOut}})
	}
	want, err := trend.Burns(t.Context(), k, trend.Window{})
	if err != nil || len(want) != 100 {
		t.Fatal(len(want), err)
	}
	asked := &counting{Log: k}
	var got []trend.Burn
	before := 0
	for {
		page, err := trend.LatestBurns(t.Context(), asked, before, 30)
		if err != nil || page.Total != 100 {
			t.Fatal(page.Total, err)
		}
		got = append(got, page.Burns...)
		if before = page.Older; before == 0 {
			break
		}
	}
	if len(got) != 100 || asked.events > 330 {
		t.Fatalf("%d burns of %d events", len(got), asked.events)
	}
	for i := range want {
		if b := got[99-i]; !reflect.DeepEqual(b, want[i]) {
			t.Errorf("burn %d:\n%+v, want\n%+v", i+1, b, want[i])
		}
	}
	b, ok, err := trend.BurnNumber(t.Context(), k, 42)
	if !ok || err != nil || !reflect.DeepEqual(b, want[41]) {
		t.Errorf("burn 42: %+v %v %v", b, ok, err)
	}
	for _, n := range []int{-1, 0, 101} {
		if _, ok, err := trend.BurnNumber(t.Context(), k, n); ok || err != nil {
			t.Errorf("there is a burn %d: %v", n, err)
		}
	}
	for _, before := range []int{-5, 101, math.MaxInt32} {
		if page, err := trend.LatestBurns(t.Context(), k, before, 5); err != nil || len(page.Burns) != 5 || page.Burns[0].No != 100 {
			t.Errorf("before %d: %+v %v", before, page, err)
		}
	}
	if page, err := trend.LatestBurns(t.Context(), k, 1, 5); err != nil || len(page.Burns) != 0 || page.Older != 0 {
		t.Errorf("before the first: %+v %v", page, err)
	}
}

func TestNoBurnYet(t *testing.T) {
	k := trendtest.Keep(t, t.TempDir(), evening)
	page, err := trend.LatestBurns(t.Context(), k, 0, 30)
	if err != nil || page.Burns == nil || len(page.Burns) != 0 || page.Total != 0 {
		t.Errorf("%+v %v", page, err)
	}
	alarms, err := trend.AlarmLog(t.Context(), k, 0, 30)
	if err != nil || alarms.Alarms == nil || len(alarms.Alarms) != 0 {
		t.Errorf("%+v %v", alarms, err)
	}
}
