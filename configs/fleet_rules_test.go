package configs_test

import (
	"regexp"
	"slices"
	"strings"
	"testing"

	"fluewright/analysis/alarm"
)

func TestFleetRules(t *testing.T) {
	for _, args := range [][]string{
		{"check", "rules", "--lint=all", "--lint-fatal", "fleet.rules.yml"},
		{"check", "config", "--lint=all", "--lint-fatal", "prometheus.yml"},
		{"test", "rules", "fleet.test.yml"},
		{"test", "rules", "fleet-weeks.test.yml"},
	} {
		if testing.Short() && args[0] == "test" {
			continue
		}
		promtool(t, "fleet/prometheus", args...)
	}
}

// Each alert is seen raised and seen not raised, says how grave it is, and leaves the word to
// whoever is at the furnace or says that the monitor still watches; each rule that records is
// read by a test.
func TestEveryFleetRuleIsProved(t *testing.T) {
	rules := read(t, "fleet/prometheus/fleet.rules.yml")
	tests := read(t, "fleet/prometheus/fleet.test.yml") + read(t, "fleet/prometheus/fleet-weeks.test.yml")
	alerts := strings.Split(rules, "- alert: ")[1:]
	if len(alerts) < 15 {
		t.Fatalf("%d alerts", len(alerts))
	}
	for _, part := range alerts {
		name, text, _ := strings.Cut(part, "\n")
		text = strings.Join(strings.Fields(text), " ")
		seen := regexp.MustCompile(`alertname: `+name+`\n +eval_time: \S+\n +exp_alerts:(.*)\n`).FindAllStringSubmatch(tests, -1)
		raised := slices.ContainsFunc(seen, func(m []string) bool { return m[1] == "" })
		quiet := slices.ContainsFunc(seen, func(m []string) bool { return m[1] == " []" }) || name == "FluewrightDeskAlive" || name == "FluewrightAlarmMedium" || name == "FluewrightAlarmLow"
		if !raised || !quiet {
			t.Errorf("%s is seen raised: %v, and not raised: %v", name, raised, quiet)
		}
		if !regexp.MustCompile(`severity: (critical|warning|info|none) `).MatchString(text) {
			t.Errorf("%s has no severity", name)
		}
		if !regexp.MustCompile(`persons? at the furnaces?|watches all the same|[Tt]elephone`).MatchString(text) {
			t.Errorf("%s does not defer to the person at the furnace", name)
		}
	}
	for _, m := range regexp.MustCompile(`- record: (\S+)`).FindAllStringSubmatch(rules, -1) {
		if !regexp.MustCompile(`expr: .*` + m[1]).MatchString(tests) {
			t.Errorf("no test reads %s", m[1])
		}
	}
}

// The alarms whose blindness is told are those of high priority.
func TestEveryHazardIsWatchedForBlindness(t *testing.T) {
	m := regexp.MustCompile(`alarm_judged{alarm=~"(.*?)"}`).FindStringSubmatch(read(t, "fleet/prometheus/fleet.rules.yml"))
	var want []string
	for _, d := range alarm.Declarations() {
		if d.Priority == alarm.High {
			want = append(want, string(d.Name))
		}
	}
	if m == nil || !slices.Equal(slices.Sorted(slices.Values(strings.Split(m[1], "|"))), slices.Sorted(slices.Values(want))) {
		t.Errorf("watched are %q; high are %q", m, want)
	}
}

// What rules ask for is there: in the program, or recorded.
func TestFleetRulesAskForWhatThereIs(t *testing.T) {
	there := everySeries(t)
	for _, name := range regexp.MustCompile(`\bfluewright[_:][\w:]+`).FindAllString(regexp.MustCompile(`#.*`).ReplaceAllString(read(t, "fleet/prometheus/fleet.rules.yml"), ""), -1) {
		if !there[name] {
			t.Errorf("there is no %s", name)
		}
	}
}

// everySeries are the names that the program exposes, and that the fleet's rules record.
func everySeries(t *testing.T) map[string]bool {
	t.Helper()
	all := map[string]bool{}
	for _, file := range []string{"burning", "alarming"} {
		for _, m := range regexp.MustCompile(`# TYPE (\S+) `).FindAllStringSubmatch(read(t, "../daemon/internal/metrics/testdata/"+file+".prom"), -1) {
			all[m[1]] = true
		}
	}
	for _, m := range regexp.MustCompile(`- record: (\S+)`).FindAllStringSubmatch(read(t, "fleet/prometheus/fleet.rules.yml"), -1) {
		all[m[1]] = true
	}
	return all
}
