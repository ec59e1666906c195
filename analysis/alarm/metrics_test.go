package alarm_test

import (
	"math"
	"testing"
	"time"

	"fluewright/analysis/alarm"
	"fluewright/analysis/frame"
)

// A panel whose alarms can be raised and cleared within a second.
func quickPanel(t *testing.T) *panel {
	keys := []alarm.Key{over, turn, high, low, one(alarm.RegulatorStuck)}
	for _, c := range frame.All() {
		keys = append(keys, on(alarm.SensorLost, c))
	}
	return newTimedPanel(t, alarm.Timing{}, keys...)
}

// raise raises the i-th alarm for a second.
func (p *panel) raise(i int) {
	p.finds[i].Verdict = alarm.Present
	p.run(time.Second)
	p.finds[i].Verdict = alarm.Absent
}

// The hand test: 144 alarms, evenly in 24 h, are one in 10 min; 11 more in one of those
// periods are a flood in one of 144, 0.694 %.
func TestMetricsByHand(t *testing.T) {
	day := func(more int) alarm.Metrics {
		p := quickPanel(t)
		for n := range 144 {
			p.run(time.Minute)
			p.raise(0)
			if n == 70 {
				for i := range more {
					p.raise(1 + i)
				}
			}
			p.run(time.Duration(n+1)*10*time.Minute + time.Second - p.at) // the clock begins with the first frame, at 1 s
		}
		return p.a.Metrics()
	}
	even := day(0)
	if even.Periods != 144 || even.Rate() != 1 || even.InFlood() != 0 || even.Floods != 0 || even.Most != 1 {
		t.Errorf("evenly: %+v, rate %g", even, even.Rate())
	}
	if even.Share(alarm.High) != 1 || even.Share(alarm.Low) != 0 {
		t.Errorf("shares %g, %g", even.Share(alarm.High), even.Share(alarm.Low))
	}
	flooded := day(11)
	if got := flooded.InFlood(); math.Abs(got-0.00694) > 5e-6 || flooded.Floods != 1 || flooded.Most != 12 || flooded.Flood {
		t.Errorf("with 11 more: %g of the time, %+v", got, flooded)
	}
	if got := flooded.Share(alarm.Low); got != 1.0/155 {
		t.Errorf("share of low %g", got)
	}
}

func TestAFloodBeginsAndEnds(t *testing.T) {
	p := quickPanel(t)
	for i := range 10 {
		p.raise(i)
		p.run(time.Minute - time.Second)
	}
	if m := p.a.Metrics(); m.Recent != 10 || m.Flood {
		t.Errorf("10 alarms in 10 min: %d, flood %v", m.Recent, m.Flood)
	}
	p = quickPanel(t)
	for i := range 11 {
		p.raise(i)
		p.run(30 * time.Second)
	}
	if m := p.a.Metrics(); m.Recent != 11 || !m.Flood {
		t.Errorf("11 alarms in 6 min: %d, flood %v", m.Recent, m.Flood)
	}
	p.run(7 * time.Minute)
	if m := p.a.Metrics(); m.Recent < 5 || !m.Flood {
		t.Errorf("it ends too soon: %d, flood %v", m.Recent, m.Flood)
	}
	p.run(time.Hour)
	if m := p.a.Metrics(); m.Recent != 0 || m.Flood || m.Floods != 1 {
		t.Errorf("an hour later: %d, flood %v", m.Recent, m.Flood)
	}
}

func TestWhatTheMetricsSayOfAlarmsAsTheyAre(t *testing.T) {
	p := newPanel(t, over, low, high, one(alarm.RegulatorStuck), turn)
	for _, k := range []alarm.Key{over, low, high, turn} {
		p.find(k, alarm.Present)
	}
	p.run(time.Minute)
	must(t, p.a.Shelve(high, time.Hour, "Ann"))
	must(t, p.a.Acknowledge(over, 1))
	p.run(time.Second)
	if m := p.a.Metrics(); m.Standing != 2 || m.Shelved != 1 || m.Suppressed != 1 || m.Unacknowledged != 2 || m.Stale != 0 {
		t.Errorf("%+v", m)
	}
	p.at += 25 * time.Hour
	p.run(time.Second)
	if m := p.a.Metrics(); m.Stale != 2 { // the shelf has ended, and what was on it is new
		t.Errorf("a day later %d are stale: %+v", m.Stale, m)
	}
}

func TestChatter(t *testing.T) {
	p := quickPanel(t)
	for range 3 {
		p.raise(2)
		p.run(10 * time.Second)
	}
	if m := p.a.Metrics(); m.Chattering != 1 {
		t.Errorf("three raisings in half a minute: %d chatter", m.Chattering)
	}
	p.run(time.Minute)
	if m := p.a.Metrics(); m.Chattering != 0 {
		t.Errorf("a minute later %d chatter", m.Chattering)
	}
}

func must(t testing.TB, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}
