package trend_test

import (
	"fmt"
	"testing"
	"time"

	"fluewright/analysis"
	"fluewright/analysis/alarm"
	"fluewright/analysis/frame"
	"fluewright/daemon/internal/trend"
	"fluewright/daemon/internal/trend/trendtest"
)

// Each raising is on one page, with its end and whoever took it, wherever the pages are cut.
func TestAlarmLog(t *testing.T) {
	k := trendtest.Keep(t, t.TempDir(), evening)
	at := time.Minute
	next := func(change alarm.Change, n alarm.Name, c frame.Channel) {
		at += time.Minute
		k.At(at, k.Alarm(n, c, change))
	}
	next(alarm.WasRaised, alarm.DraftLow, frame.Count)
	for range 10 {
		next(alarm.WasRaised, alarm.Overheat, frame.Flue)
		for range 3 {
			next(alarm.WasUpdated, alarm.Overheat, frame.Flue)
		}
		next(alarm.WasAcknowledged, alarm.Overheat, frame.Flue)
		next(alarm.WasCleared, alarm.Overheat, frame.Flue)
	}
	k.Note("Ann", trend.Taken("overheat/flue", 3))
	next(alarm.WasCleared, alarm.DraftLow, frame.Count)
	// Taken after it was over: that begins no other alarm.
	over := k.Alarm(alarm.DraftLow, frame.Count, alarm.WasAcknowledged)
	over.Alarm.State = alarm.Normal
	at += time.Minute
	k.At(at, over)
	next(alarm.WasRaised, alarm.Spillage, frame.Count)

	for _, most := range []int{1, 2, 3, 5, 100} {
		t.Run(fmt.Sprint(most, " a page"), func(t *testing.T) {
			var all []trend.AlarmEntry
			before := int64(0)
			for pages := 0; ; pages++ {
				page, err := trend.AlarmLog(t.Context(), k, before, most)
				if err != nil || len(page.Alarms) > most || pages > 20 {
					t.Fatal(len(page.Alarms), pages, err)
				}
				all = append(all, page.Alarms...)
				if before = page.Older; before == 0 {
					break
				}
			}
			if len(all) != 12 {
				t.Fatalf("%d alarms, want 12", len(all))
			}
			if a := all[0]; a.Alarm != "spillage" || a.Cleared != nil || a.State != "raised" || a.Lasted != nil {
				t.Errorf("the newest: %+v", a)
			}
			for i := range 10 {
				a := all[1+i]
				if a.Alarm != "overheat" || a.Channel != "flue" || a.Occurrence != int64(10-i) || a.State != "cleared" ||
					a.Lasted == nil || *a.Lasted != 300 || a.Acknowledged == nil || !a.Sure || a.Priority != "high" {
					t.Errorf("the overheat before %d: %+v", i, a)
				}
				if want := map[bool]string{true: "Ann"}[a.Occurrence == 3]; a.By != want {
					t.Errorf("occurrence %d was taken by %q, want %q", a.Occurrence, a.By, want)
				}
			}
			if a := all[11]; a.Alarm != "draft-low" || a.Lasted == nil || *a.Lasted != 61*60 || a.Acknowledged == nil {
				t.Errorf("the oldest: %+v", a)
			}
		})
	}
}

func TestAlarmFigures(t *testing.T) {
	k := trendtest.Keep(t, t.TempDir(), evening)
	day := 24 * time.Hour
	up := func(at time.Duration, n alarm.Name) { k.At(at, k.Alarm(n, frame.Count, alarm.WasRaised)) }
	down := func(at time.Duration, n alarm.Name) { k.At(at, k.Alarm(n, frame.Count, alarm.WasCleared)) }
	up(time.Hour, alarm.RegulatorStuck)
	up(2*time.Hour, alarm.DraftHigh)
	k.At(2*time.Hour+2*time.Minute, k.Alarm(alarm.DraftHigh, frame.Count, alarm.WasAcknowledged))
	down(3*time.Hour, alarm.DraftHigh)
	down(26*time.Hour, alarm.RegulatorStuck) // 25 h
	for i := range 12 {                      // 15 s apart
		up(2*day+time.Duration(i)*15*time.Second, alarm.Spillage)
		down(2*day+time.Duration(i)*15*time.Second+5*time.Second, alarm.Spillage)
	}
	k.At(10 * day)
	got, err := trend.StatsOfAlarms(t.Context(), k, trend.Window{From: evening.Add(-20 * day), To: evening.Add(10 * day)})
	if err != nil {
		t.Fatal(err)
	}
	if got.Raised != 14 || got.ByPriority["high"] != 12 || got.ByPriority["medium"] != 1 || got.ByPriority["low"] != 1 {
		t.Errorf("raised: %+v", got)
	}
	if !got.From.Equal(evening) || got.PerDay == nil || *got.PerDay != 1.4 || got.Partial {
		t.Errorf("the rate is over what is known: %+v", got)
	}
	if got.Most != 12 || got.Floods != 1 || got.Stale != 1 || got.Acknowledged != 1 || *got.MedianResponse != 120 {
		t.Errorf("figures: %+v", got)
	}
	if a := got.Alarms[0]; a.Alarm != "spillage" || a.Raised != 12 || a.Chattered != 10 || a.Stood != 60 || a.Longest != 5 {
		t.Errorf("what chatters: %+v", a)
	}
	none, err := trend.StatsOfAlarms(t.Context(), k, trend.Window{From: evening.Add(9 * day), To: evening.Add(10 * day)})
	if err != nil || none.Raised != 0 || *none.PerDay != 0 || none.MedianResponse != nil {
		t.Errorf("a quiet day: %+v %v", none, err)
	}
}

// A season on a site where everything goes wrong is read as quickly as a day.
func TestManyAlarmsAreReadInPieces(t *testing.T) {
	k := trendtest.Keep(t, t.TempDir(), evening)
	for i := range 700 { // as many changes in one tick as it can be
		var events []analysis.Event
		for _, c := range frame.All() {
			events = append(events, k.Alarm(alarm.SensorLost, c, alarm.WasRaised), k.Alarm(alarm.SensorLost, c, alarm.WasCleared))
		}
		k.At(time.Duration(i+1)*3*time.Hour, events...)
	}
	k.Settle()
	asked := &counting{Log: k}
	page, err := trend.AlarmLog(t.Context(), asked, 0, 50)
	if err != nil || len(page.Alarms) != 50 || page.Older == 0 {
		t.Fatal(len(page.Alarms), err)
	}
	deep := page.Older - 3000
	if page, err = trend.AlarmLog(t.Context(), asked, deep, 50); err != nil || len(page.Alarms) != 50 {
		t.Fatal(len(page.Alarms), err)
	}
	if asked.events > 2000 {
		t.Errorf("%d events were read for two pages", asked.events)
	}
	s, err := trend.StatsOfAlarms(t.Context(), asked, trend.Window{From: evening, To: evening.Add(90 * 24 * time.Hour)})
	if err != nil || !s.Partial || s.Raised < 900 || asked.events > 5000 {
		t.Errorf("%d events were read; %v, %d raised, %v", asked.events, s.Partial, s.Raised, err)
	}
}
