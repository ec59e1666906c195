package configs_test

import (
	"os"
	"os/exec"
	"regexp"
	"strings"
	"testing"
)

// promtool runs it in a folder.
func promtool(t *testing.T, dir string, args ...string) {
	t.Helper()
	cmd := exec.Command(tool(t, "promtool"), args...)
	cmd.Dir = dir
	if out, err := cmd.CombinedOutput(); err != nil {
		t.Errorf("promtool %s: %v\n%s", strings.Join(args, " "), err, out)
	}
}

func TestRules(t *testing.T) {
	promtool(t, "prometheus", "check", "rules", "--lint=all", "--lint-fatal", "fluewright.rules.yml")
	promtool(t, "prometheus", "check", "config", "--lint=all", "--lint-fatal", "prometheus.yml")
	promtool(t, "prometheus", "test", "rules", "fluewright.test.yml")
}

func read(t *testing.T, name string) string {
	t.Helper()
	b, err := os.ReadFile(name)
	if err != nil {
		t.Fatal(err)
	}
	return string(b)
}

// Each alert is proved to be raised, says how grave it is, and leaves the word to whoever is
// at the furnace or says that the monitor still watches.
func TestEveryAlertIsProvedAndDefers(t *testing.T) {
	rules, tests := read(t, "prometheus/fluewright.rules.yml"), read(t, "prometheus/fluewright.test.yml")
	parts := strings.Split(rules, "- alert: ")[1:]
	if len(parts) < 8 {
		t.Fatalf("%d alerts", len(parts))
	}
	for _, part := range parts {
		name, text, _ := strings.Cut(part, "\n")
		text = strings.Join(strings.Fields(text), " ")
		if !regexp.MustCompile(`alertname: ` + name + `\n +eval_time: \S+\n +exp_alerts:( [&*]\w+)?\n`).MatchString(tests) {
			t.Errorf("no test sees %s raised", name)
		}
		if !regexp.MustCompile(`severity: (critical|warning|info) `).MatchString(text) {
			t.Errorf("%s has no severity", name)
		}
		if !strings.Contains(text, "person at the furnace") && !strings.Contains(text, "watches all the same") && !strings.Contains(text, "by telephone") {
			t.Errorf("%s does not defer to the person at the furnace", name)
		}
	}
}

// The rules ask for series that the program has.
func TestRulesAskForWhatThereIs(t *testing.T) {
	metrics := read(t, "../daemon/internal/metrics/testdata/alarming.prom")
	for _, name := range regexp.MustCompile(`\bfluewright_\w+`).FindAllString(read(t, "prometheus/fluewright.rules.yml"), -1) {
		if !strings.Contains(metrics, "# TYPE "+name+" ") {
			t.Errorf("there is no %s", name)
		}
	}
}
