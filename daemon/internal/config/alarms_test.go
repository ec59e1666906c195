package config_test

import (
	"fmt"
	"os"
	"strings"
	"testing"
	"time"

	"fluewright/analysis"
	"fluewright/analysis/alarm"
	"fluewright/analysis/frame"
	"github.com/google/go-cmp/cmp"
)

// The table of alarms in the README is made of their declarations.
func TestAlarmTable(t *testing.T) {
	const file = "../../../README.md"
	readme, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	before, rest, ok := strings.Cut(string(readme), "<!-- alarms")
	_, after, closed := strings.Cut(rest, "<!-- /alarms -->\n")
	if !ok || !closed {
		t.Fatal("README.md has no place for the table of alarms")
	}
	got := before + alarmTable() + after
	if *update {
		if err := os.WriteFile(file, []byte(got), 0o644); err != nil {
			t.Fatal(err)
		}
		return
	}
	if diff := cmp.Diff(string(readme), got); diff != "" {
		t.Errorf("table (-want +got), write it anew with -update:\n%s", diff)
	}
}

func alarmTable() string {
	var b strings.Builder
	b.WriteString("<!-- alarms: written by go test ./daemon/internal/config -run AlarmTable -update -->\n")
	b.WriteString("| alarm | priority | what it says | raised after, cleared after | time to respond | if nobody acts | what to do first | needs | not told while |\n")
	b.WriteString("|---|---|---|---|---|---|---|---|---|\n")
	for _, d := range analysis.Alarms() {
		fmt.Fprintf(&b, "| `%s` | %v | %s | %s, %s | %s | %s | %s | %s | %s |\n",
			d.Name, d.Priority, d.Title, words(d.Timing.Hold), words(d.Timing.ClearAfter), words(d.Respond),
			d.Consequence, d.Action, needs(d), suppressors(d))
	}
	b.WriteString("<!-- /alarms -->\n")
	return b.String()
}

func words(d time.Duration) string {
	switch {
	case d < 2*time.Minute:
		return fmt.Sprintf("%g s", d.Seconds())
	case d < 2*time.Hour:
		return fmt.Sprintf("%g min", d.Minutes())
	default:
		return fmt.Sprintf("%g h", d.Hours())
	}
}

func needs(d alarm.Declaration) string {
	list := func(cs []frame.Channel) string {
		var names []string
		for _, c := range cs {
			names = append(names, c.String())
		}
		return strings.Join(names, ", ")
	}
	var all []string
	switch {
	case d.Own:
		all = append(all, "the channel's reading")
	case len(d.Needs) > 0:
		all = append(all, list(d.Needs))
	default:
		all = append(all, "nothing")
	}
	if len(d.Fitted) > 0 {
		all = append(all, "a sensor for "+list(d.Fitted))
	}
	return strings.Join(all, "; ")
}

// suppressors are the alarms that keep one from being told, as far as they are judged.
func suppressors(d alarm.Declaration) string {
	var all []string
	for _, s := range d.Suppressed {
		for _, judged := range analysis.Alarms() {
			if judged.Name == s.By.Name {
				by := alarm.Key{Name: s.By.Name, Channel: s.By.Channel}
				if s.SameChannel {
					by.Channel = frame.Count
				}
				all = append(all, fmt.Sprintf("`%v`: %s", by, s.Why))
			}
		}
	}
	return strings.Join(all, "; ")
}
