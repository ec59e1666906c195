package alarm_test

import (
	"slices"
	"strings"
	"testing"
	"time"

	"fluewright/analysis/alarm"
	"fluewright/analysis/frame"
)

func TestEveryAlarmIsDeclaredWhole(t *testing.T) {
	for _, d := range alarm.Declarations() {
		if d.Priority == 0 || d.Title == "" || d.Consequence == "" || d.Action == "" || d.Respond == 0 {
			t.Errorf("%s is declared in part only: %+v", d.Name, d)
		}
		if d.Timing.ClearAfter <= 0 || d.Timing.Hold > d.Respond/2 {
			t.Errorf("%s: timing %+v does not fit %v to respond", d.Name, d.Timing, d.Respond)
		}
		if got, ok := alarm.Declared(d.Name); !ok || got.Title != d.Title {
			t.Errorf("Declared(%s) does not find it", d.Name)
		}
		if d.Own && len(d.Each) == 0 {
			t.Errorf("%s needs its own channel and has none", d.Name)
		}
		if got := d.Channels(frame.Flue); d.Own && !slices.Contains(got, frame.Flue) || len(got) < len(d.Needs) {
			t.Errorf("%s of the flue needs %v", d.Name, got)
		}
		for _, s := range d.Suppressed {
			by, ok := alarm.Declared(s.By.Name)
			if !ok || s.Why == "" || by.Priority < d.Priority {
				t.Errorf("%s is suppressed by %s (%v) because %q", d.Name, s.By.Name, by.Priority, s.Why)
			}
		}
	}
	if n := len(alarm.Declarations()); n != 13 {
		t.Errorf("%d alarms are declared", n)
	}
	if _, ok := alarm.Declared("no-such-alarm"); ok {
		t.Error("an undeclared alarm was found")
	}
}

// Two alarms that suppress one another would both be silent.
func TestNoAlarmSuppressesItself(t *testing.T) {
	var above func(name, start alarm.Name, depth int)
	above = func(name, start alarm.Name, depth int) {
		d, _ := alarm.Declared(name)
		for _, s := range d.Suppressed {
			if s.By.Name == start || depth > 10 {
				t.Fatalf("%s suppresses itself, through %s", start, name)
			}
			above(s.By.Name, start, depth+1)
		}
	}
	for _, d := range alarm.Declarations() {
		above(d.Name, d.Name, 0)
	}
}

// What kills is said first, and nothing that kills is advised.
func TestActions(t *testing.T) {
	first := func(name alarm.Name) string {
		d, _ := alarm.Declared(name)
		sentence, _, _ := strings.Cut(d.Action, ".")
		return sentence
	}
	for name, want := range map[alarm.Name]string{
		alarm.ChimneyFire: "call the fire service",
		alarm.Spillage:    "carbon-monoxide",
		alarm.Runaway:     "never open the loading door",
	} {
		if !strings.Contains(first(name), want) {
			t.Errorf("%s begins %q, without %q", name, first(name), want)
		}
	}
	for _, d := range alarm.Declarations() {
		text := strings.ToLower(d.Title + d.Consequence + d.Action)
		for _, no := range []string{"all is well", "safe to", "is safe", "add wood now"} {
			if strings.Contains(text, no) {
				t.Errorf("%s says %q", d.Name, no)
			}
		}
	}
}

func TestSpillageIsToldWithinAMinute(t *testing.T) {
	d, _ := alarm.Declared(alarm.Spillage)
	if d.Timing.Hold != 30*time.Second {
		t.Errorf("a turned draft is held for %v", d.Timing.Hold)
	}
}
