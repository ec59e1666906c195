package configs_test

import (
	"maps"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
)

// grafana returns the folder of node's packages with Grafana's types and a compiler.
func grafana(t *testing.T) (packages string) {
	t.Helper()
	if testing.Short() || os.Getenv("FLUEWRIGHT_EMULATED") != "" {
		t.Skip("runs a compiler of TypeScript")
	}
	here, err := filepath.Abs("../.ci/node/node_modules")
	if err != nil {
		t.Fatal(err)
	}
	_, err = exec.LookPath("node")
	for _, folder := range append(filepath.SplitList(os.Getenv("NODE_PATH")), here) {
		_, types := os.Stat(filepath.Join(folder, "@grafana/schema/package.json"))
		_, compiler := os.Stat(filepath.Join(folder, "typescript/bin/tsc"))
		if err == nil && types == nil && compiler == nil {
			return folder
		}
	}
	if os.Getenv("FLUEWRIGHT_REAL") == "1" {
		t.Fatal("Grafana's types, or what compiles them, are not installed: npm --prefix .ci/node ci")
	}
	t.Skip("Grafana's types, or what compiles them, are not installed: npm --prefix .ci/node ci")
	return ""
}

// compile holds boards, JSON by name, against Grafana's types, and returns the complaints of
// each.
func compile(t *testing.T, boards map[string]string) (complaints map[string][]string) {
	t.Helper()
	packages, dir := grafana(t), t.TempDir()
	if err := os.Symlink(packages, filepath.Join(dir, "node_modules")); err != nil {
		t.Fatal(err)
	}
	files := map[string]string{"dashboard": read(t, "testdata/dashboard.ts")}
	for name, text := range boards {
		files[name] = "import type { Board } from './dashboard';\nexport const board: Board = " + text
	}
	args := []string{
		filepath.Join(packages, "typescript/bin/tsc"), "--noEmit", "--strict", "--pretty", "false",
		"--module", "esnext", "--moduleResolution", "bundler", "--types", "",
	}
	for _, name := range slices.Sorted(maps.Keys(files)) {
		if err := os.WriteFile(filepath.Join(dir, name+".ts"), []byte(files[name]), 0o644); err != nil {
			t.Fatal(err)
		}
		args = append(args, name+".ts")
	}
	cmd := exec.Command("node", args...)
	cmd.Dir = dir
	out, err := cmd.CombinedOutput()
	complaints = map[string][]string{}
	line := regexp.MustCompile(`^([\w-]+)\.ts\(\d+,\d+\): error `)
	for l := range strings.Lines(string(out)) {
		if strings.HasPrefix(l, " ") {
			continue // goes on about the one before
		}
		m := line.FindStringSubmatch(l)
		if m == nil || boards[m[1]] == "" {
			t.Fatalf("%v\n%s", err, out)
		}
		complaints[m[1]] = append(complaints[m[1]], l)
	}
	if err != nil && len(complaints) == 0 {
		t.Fatal(err)
	}
	return complaints
}

// Also that what is wrong would be seen: each of these is a dashboard that is kept, with one
// thing changed.
func TestDashboardsAreOfGrafanasTypes(t *testing.T) {
	boards := map[string]string{}
	for file := range dashboards(t) {
		boards[strings.TrimSuffix(file, ".json")] = read(t, "fleet/grafana/"+file)
	}
	wrongs := map[string]struct{ board, is, becomes string }{
		"a-misspelt-property":               {"fleet", `"schemaVersion"`, `"schemaVerzion"`},
		"a-misspelt-property-of-a-panel":    {"fleet", `"gridPos"`, `"gridPoz"`},
		"no-such-panel":                     {"site", `"type": "state-timeline"`, `"type": "state-timelime"`},
		"an-option-of-another-panel":        {"fleet", `"colorMode": "value"`, `"colorMode": "value", "showUnfilled": true`},
		"a-misspelt-option-of-a-stat":       {"fleet", `"graphMode"`, `"graphMood"`},
		"no-such-choice-of-a-stat":          {"fleet", `"graphMode": "none"`, `"graphMode": "nothing"`},
		"a-misspelt-option-of-bars":         {"fleet", `"valueMode"`, `"valueMood"`},
		"no-such-choice-of-bars":            {"fleet", `"displayMode": "basic"`, `"displayMode": "basics"`},
		"a-misspelt-option-of-a-table":      {"fleet", `"showHeader"`, `"showHeadder"`},
		"no-such-choice-of-a-table":         {"fleet", `"cellHeight": "sm"`, `"cellHeight": "tiny"`},
		"a-misspelt-field-of-a-table":       {"fleet", `"inspect"`, `"inspects"`},
		"no-such-choice-in-a-table-s-field": {"fleet", `"align": "auto"`, `"align": "middle"`},
		"a-misspelt-property-of-a-row":      {"fleet", `"collapsed"`, `"collapse"`},
		"a-misspelt-option-of-a-text":       {"fleet", `"content"`, `"contents"`},
		"no-such-choice-of-a-text":          {"fleet", `"mode": "markdown"`, `"mode": "markup"`},
		"a-misspelt-option-of-states":       {"site", `"rowHeight"`, `"rowHeigth"`},
		"no-such-choice-of-states":          {"site", `"alignValue": "left"`, `"alignValue": "middle"`},
		"a-misspelt-field-of-states":        {"site", `"fillOpacity": 80`, `"fillOpaqueness": 80`},
		"no-such-choice-of-lines":           {"fleet", `"placement": "bottom"`, `"placement": "below"`},
		"a-misspelt-field-of-lines":         {"fleet", `"spanNulls"`, `"spanNull"`},
		"no-such-choice-in-a-field":         {"fleet", `"showPoints": "never"`, `"showPoints": "no"`},
		"a-text-for-a-number":               {"fleet", `"lineWidth": 1`, `"lineWidth": "1"`},
		"a-misspelt-default-of-fields":      {"fleet", `"noValue"`, `"noValues"`},
		"a-misspelt-override":               {"fleet", `"id": "displayName"`, `"id": "displayNames"`},
		"a-misspelt-override-of-a-table":    {"fleet", `"id": "custom.cellOptions"`, `"id": "custom.cellOption"`},
		"no-such-choice-in-an-override":     {"fleet", `"type": "color-text"`, `"type": "colour-text"`},
		"no-such-line":                      {"site", `"fill": "dash"`, `"fill": "dashes"`},
		"a-table-s-override-of-lines":       {"site", `"id": "custom.lineStyle"`, `"id": "custom.hidden"`},
		"no-name-of-a-query":                {"fleet", `"refId"`, `"ref"`},
		"no-such-format-of-a-query":         {"fleet", `"format": "table"`, `"format": "tables"`},
		"no-such-sorting-of-a-variable":     {"fleet", `"sort": 1`, `"sort": 17`},
		"no-such-variable":                  {"fleet", `"type": "query"`, `"type": "queries"`},
		"no-such-colouring":                 {"fleet", `"mode": "thresholds"`, `"mode": "threshold"`},
		"what-older-ones-had-of-a-variable": {"fleet", `"includeAll"`, `"auto": false, "includeAll"`},
	}
	for name, w := range wrongs {
		text := strings.Replace(boards[w.board], w.is, w.becomes, 1)
		if text == boards[w.board] {
			t.Errorf("%s: no %s in %s.json", name, w.is, w.board)
		}
		boards[name] = text
	}
	complaints := compile(t, boards)
	for name := range boards {
		_, wrong := wrongs[name]
		if wrong && len(complaints[name]) == 0 {
			t.Errorf("%s: nothing complains", name)
		}
		if !wrong && len(complaints[name]) > 0 {
			t.Errorf("%s.json is not as Grafana has it:\n%s", name, strings.Join(complaints[name], ""))
		}
	}
}
