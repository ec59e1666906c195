package app

import (
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"fluewright/analysis/alarm"
	"fluewright/analysis/frame"
	"fluewright/daemon/internal/health"
	"fluewright/daemon/internal/history"
	"fluewright/daemon/internal/status"
	"fluewright/daemon/internal/status/statustest"
	"fluewright/daemon/internal/units"
	"fluewright/daemon/internal/verdict"
	"fluewright/sensors"
)

func TestCheckup(t *testing.T) {
	// alarmOf changes what is known of an alarm.
	alarmOf := func(s *status.Status, name alarm.Name, change func(*alarm.Status)) {
		for i := range s.Assessment.Alarms {
			if a := &s.Assessment.Alarms[i]; a.Key.Name == name {
				change(a)
			}
		}
	}
	tests := map[string]struct {
		do   func(*duty, *status.Status)
		want string // the checks that are not ok, and their states
		says string
	}{
		"all is well": {func(*duty, *status.Status) {}, "", ""},
		"a fire rages": {func(_ *duty, s *status.Status) {
			alarmOf(s, alarm.Overheat, func(a *alarm.Status) { a.State, a.Condition = alarm.Raised, alarm.Holds })
		}, "", ""},
		"a sensor is lost": {func(_ *duty, s *status.Status) {
			statustest.Lose(s, frame.Flue, sensors.OpenCircuit)
			alarmOf(s, alarm.Overheat, func(a *alarm.Status) { a.Blind = true })
		}, "sampling wrong, alarms wrong", "no reading of flue"},
		"an alarm cannot be judged yet": {func(_ *duty, s *status.Status) {
			alarmOf(s, alarm.Overheat, func(a *alarm.Status) { a.State, a.Blind = alarm.Unjudged, true })
		}, "alarms early", "cannot judge yet: overheat"},
		"an alarm would be raised and is not known to be normal": {func(_ *duty, s *status.Status) {
			alarmOf(s, alarm.Overheat, func(a *alarm.Status) { a.State = alarm.Unjudged })
		}, "", ""},
		"an alarm is shelved": {func(_ *duty, s *status.Status) {
			alarmOf(s, alarm.Overheat, func(a *alarm.Status) { a.State = alarm.Shelved })
		}, "alarms note", "shelved by a person"},
		"nothing is judged":               {func(_ *duty, s *status.Status) { s.Assessment.Alarms = nil }, "alarms early", ""},
		"the clock is unset":              {func(_ *duty, s *status.Status) { s.ClockTrusted = false }, "clock note", "not known"},
		"the clock jumps":                 {func(d *duty, _ *status.Status) { d.jump(3) }, "clock wrong", "set again and again"},
		"no history":                      {func(d *duty, _ *status.Status) { d.history = nil }, "storage note", "no history"},
		"the history opens":               {func(d *duty, _ *status.Status) { d.health.State = history.Opening }, "storage early", ""},
		"the storage is full":             {func(d *duty, _ *status.Status) { d.health.State = history.Full }, "storage wrong", "storage is full"},
		"the storage stalls":              {func(d *duty, _ *status.Status) { d.health.State = history.Slow }, "storage wrong", "seconds to answer"},
		"no calibration can be read":      {func(d *duty, _ *status.Status) { d.uncalibrated = true }, "sampling wrong", "off by what the sensors are off by"},
		"the state is of a newer program": {func(d *duty, _ *status.Status) { d.refused = true }, "storage wrong", "left as it is"},
		"alarms are forgotten":            {func(d *duty, _ *status.Status) { d.unsaved = true }, "storage wrong", "cannot be saved"},
		"the broker was never there": {func(d *duty, _ *status.Status) {
			d.stats.Connected, d.stats.Connects = false, 0
		}, "delivery early", "not reached yet"},
		"the broker is away": {func(d *duty, _ *status.Status) { d.stats.Connected = false }, "delivery note", "is away"},
		"the broker is gone": {func(d *duty, _ *status.Status) {
			d.stats.Connected, d.flows = false, false
			d.run(time.Hour)
		}, "delivery wrong", "nothing reaches"},
		"the certificate holds": {func(d *duty, s *status.Status) { d.stats.CertificateEnds = s.Wall.Add(31 * 24 * time.Hour) }, "", ""},
		"the certificate is due": {func(d *duty, s *status.Status) {
			d.stats.CertificateEnds = s.Wall.Add(29 * 24 * time.Hour)
		}, "certificate note", "enrol --renew"},
		"the certificate has ended": {func(d *duty, _ *status.Status) { d.ends(0) }, "certificate wrong", "has ended"},
		"the certificate without a clock": {func(d *duty, s *status.Status) {
			d.ends(time.Hour)
			d.trusted, s.ClockTrusted = false, false
		}, "clock note, certificate note", "cannot be told"},
		"people cannot be told": {func(d *duty, _ *status.Status) { d.people.Trouble = []string{"phone"} }, "notification wrong", "do not get through"},
		"all at once": {func(d *duty, s *status.Status) {
			d.people.Trouble, d.flows, d.health.State = []string{"phone"}, false, history.Failing
			d.run(time.Hour)
			d.jump(3)
		}, "storage wrong, clock wrong, delivery wrong, notification wrong", ""},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			d := newDuty()
			d.stats.Connected, d.stats.Connects = true, 1
			s := statustest.Burning()
			s.ClockTrusted = true
			tt.do(d, s)
			d.run(time.Second)
			feed := status.NewFeed()
			feed.Publish(s)
			c := checkup{feed, verdict.Site{Fitted: statustest.Fitted, Render: bare}, 5 * time.Second, units.SI, &d.watchman}
			var got, said []string
			for _, one := range c.checks() {
				if one.State != health.OK {
					got = append(got, one.Name+" "+string(one.State))
				}
				if one.Message == "" {
					t.Errorf("%s says nothing", one.Name)
				}
				said = append(said, one.Message)
			}
			if g := strings.Join(got, ", "); g != tt.want {
				t.Errorf("got %q, want %q; %q", g, tt.want, said)
			}
			if !strings.Contains(strings.Join(said, "\n"), tt.says) {
				t.Errorf("%q does not say %q", said, tt.says)
			}
		})
	}
}

// Of each alarm it is said whether it would be raised, and why not.
func TestEachAlarmsArming(t *testing.T) {
	s := statustest.Burning()
	statustest.Lose(s, frame.Flue, sensors.OpenCircuit)
	for i := range s.Assessment.Alarms {
		switch a := &s.Assessment.Alarms[i]; a.Key.Name {
		case alarm.Overheat:
			a.Blind = true
		case alarm.Spillage:
			a.State, a.Blind = alarm.Unjudged, true
		case alarm.DraftLow:
			a.State = alarm.Shelved
		}
	}
	feed := status.NewFeed()
	feed.Publish(s)
	c := checkup{feed, verdict.Site{Fitted: statustest.Fitted, Render: bare}, 5 * time.Second, units.SI, &newDuty().watchman}
	said := c.alarms(s, 0).Alarms
	if len(said) != len(s.Assessment.Alarms) {
		t.Fatalf("%d of %d alarms", len(said), len(s.Assessment.Alarms))
	}
	want := map[alarm.Name]health.Arming{
		alarm.Overheat: {State: health.Wrong, Why: "no reading of flue"},
		alarm.Spillage: {State: health.Early, Why: "its judge has not seen enough yet"},
		alarm.DraftLow: {State: health.Note, Why: "shelved by a person"},
	}
	seen := 0
	for i, got := range said {
		key := s.Assessment.Alarms[i].Key
		w, changed := want[key.Name]
		if !changed || key.Name == alarm.Overheat && key.Channel != frame.Flue {
			continue
		}
		seen++
		if got.Alarm != string(key.Name) || got.State != w.State || !strings.HasPrefix(got.Why, w.Why) {
			t.Errorf("%v: %+v, want %+v", key, got, w)
		}
	}
	if seen != len(want) {
		t.Errorf("%d of %d were there", seen, len(want))
	}
}

func bare(alarm.Status, *status.Status) (string, string) { return "something", "do something" }

// A loop that stands still makes nothing well, whatever it last found.
func TestCheckupOfALoopThatStands(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		d, feed := newDuty(), status.NewFeed()
		c := checkup{feed, verdict.Site{Fitted: statustest.Fitted, Render: bare}, 5 * time.Second, units.SI, &d.watchman}
		state := func(name string) health.State {
			for _, one := range c.checks() {
				if one.Name == name {
					return one.State
				}
			}
			return ""
		}
		if s, a := state("sampling"), state("alarms"); s != health.Early || a != health.Early {
			t.Errorf("before the first tick: sampling %s, alarms %s", s, a)
		}
		feed.Publish(statustest.Burning())
		if s := state("sampling"); s != health.OK {
			t.Errorf("ticking: sampling %s", s)
		}
		time.Sleep(6 * time.Second)
		if s, a := state("sampling"), state("alarms"); s != health.Wrong || a != health.Wrong {
			t.Errorf("standing still: sampling %s, alarms %s", s, a)
		}
	})
}
