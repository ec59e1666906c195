package configs_test

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"math"
	"net/http"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"
)

// board is what is looked at of a dashboard.
type board struct {
	UID        string
	Title      string
	Panels     []panel
	Templating struct {
		List []struct {
			Name  string
			Type  string
			Query any
		}
	}
}

type panel struct {
	ID          int
	Type        string
	Title       string
	Description string
	GridPos     struct{ X, Y, W, H int }
	FieldConfig struct{ Defaults struct{ NoValue string } }
	Targets     []struct {
		Expr    string
		Instant bool
	}
}

// dashboards are those that are kept, by their files.
func dashboards(t *testing.T) map[string]board {
	t.Helper()
	files, err := filepath.Glob("fleet/grafana/*.json")
	if err != nil || len(files) != 3 {
		t.Fatal(files, err)
	}
	all := map[string]board{}
	for _, file := range files {
		var b board
		if err := json.Unmarshal([]byte(read(t, file)), &b); err != nil {
			t.Fatal(err)
		}
		all[filepath.Base(file)] = b
	}
	return all
}

// What makes the dashboards holds them against Grafana's schema as it goes.
func TestDashboardsAreAsTheirSourceMakesThem(t *testing.T) {
	if testing.Short() || os.Getenv("FLUEWRIGHT_EMULATED") != "" {
		t.Skip("builds a program with a large library")
	}
	source, dir := "fleet/grafana/source", t.TempDir()
	fetch := exec.Command("go", "mod", "download")
	fetch.Dir = source
	if out, err := fetch.CombinedOutput(); err != nil {
		if os.Getenv("FLUEWRIGHT_REAL") == "1" {
			t.Fatalf("%v\n%s", err, out)
		}
		t.Skipf("the library cannot be had: %s", out)
	}
	make := exec.Command("go", "run", ".", dir)
	make.Dir, make.Env = source, append(os.Environ(), "GOOS=", "GOARCH=", "GOFLAGS=")
	if out, err := make.CombinedOutput(); err != nil {
		t.Fatalf("%v\n%s", err, out)
	}
	for file := range dashboards(t) {
		made, err := os.ReadFile(filepath.Join(dir, file))
		if err != nil || !bytes.Equal(made, []byte(read(t, "fleet/grafana/"+file))) {
			t.Errorf("%s is not as its source makes it: go run . .. in configs/%s (%v)", file, source, err)
		}
	}
}

func TestDashboardsAskForWhatThereIs(t *testing.T) {
	there := everySeries(t)
	asked := 0
	for file, b := range dashboards(t) {
		texts := []string{}
		for _, p := range b.Panels {
			for _, q := range p.Targets {
				texts = append(texts, q.Expr)
			}
		}
		for _, v := range b.Templating.List {
			texts = append(texts, fmt.Sprint(v.Query))
		}
		for _, text := range texts {
			for _, name := range regexp.MustCompile(`\bfluewright[_:][\w:]+`).FindAllString(text, -1) {
				asked++
				if !there[name] {
					t.Errorf("%s: there is no %s", file, name)
				}
			}
		}
	}
	if asked < 50 {
		t.Errorf("only %d names were found", asked)
	}
}

// A panel says what it shows, and what it means that it shows nothing; nothing is green, and
// the first thing on each board says that silence is not quiet.
func TestDashboardsReassureNobody(t *testing.T) {
	uids := map[string]bool{}
	for file, b := range dashboards(t) {
		if uids[b.UID] || b.UID == "" {
			t.Errorf("%s: the name %q is taken", file, b.UID)
		}
		uids[b.UID] = true
		if first := read(t, "fleet/grafana/"+file); strings.Contains(first, `"green"`) || !strings.Contains(first, "silent") {
			t.Errorf("%s: something is green, or silence is not spoken of", file)
		}
		if b.Panels[0].Type != "text" {
			t.Errorf("%s begins without a caution", file)
		}
		ids := map[int]bool{}
		for i, p := range b.Panels {
			if ids[p.ID] {
				t.Errorf("%s: two panels are number %d", file, p.ID)
			}
			ids[p.ID] = true
			if p.Type == "text" || p.Type == "row" {
				continue
			}
			if p.Title == "" || p.Description == "" || len(p.Targets) == 0 {
				t.Errorf("%s: %q does not say what it shows, or shows nothing", file, p.Title)
			}
			if (p.Type == "stat" || p.Type == "table" || p.Type == "bargauge") && p.FieldConfig.Defaults.NoValue == "" {
				t.Errorf("%s: %q does not say what no value means", file, p.Title)
			}
			for _, q := range b.Panels[:i] {
				if p.GridPos.X < q.GridPos.X+q.GridPos.W && q.GridPos.X < p.GridPos.X+p.GridPos.W &&
					p.GridPos.Y < q.GridPos.Y+q.GridPos.H && q.GridPos.Y < p.GridPos.Y+p.GridPos.H {
					t.Errorf("%s: %q lies over %q", file, p.Title, q.Title)
				}
			}
			if p.GridPos.X+p.GridPos.W > 24 {
				t.Errorf("%s: %q is too wide", file, p.Title)
			}
		}
	}
}

// week writes what a storage would hold of three sites, in the OpenMetrics format: one that
// burns, one that was never commissioned and whose flue is too hot, and one that fell silent
// two hours ago with an alarm.
func week(t *testing.T, now time.Time) []byte {
	t.Helper()
	families := map[string][]string{}
	put := func(name, labels string, value float64, at time.Time) {
		families[name] = append(families[name], fmt.Sprintf("%s{%s} %v %d", name, labels, value, at.Unix()))
	}
	line := regexp.MustCompile(`^(fluewright_\w+)(?:\{(.*)\})? (\S+)$`)
	for _, s := range []struct{ name, region, golden string }{{"mill", "north", "burning"}, {"hill", "south", "alarming"}} {
		for l := range strings.Lines(read(t, "../daemon/internal/metrics/testdata/"+s.golden+".prom")) {
			m := line.FindStringSubmatch(strings.TrimSpace(l))
			if m == nil || s.name == "hill" && strings.Contains(m[1], "commission") {
				continue
			}
			var v float64
			fmt.Sscan(m[3], &v)
			labels := strings.Trim(regexp.MustCompile(`(site|region)="[^"]*"`).ReplaceAllString(m[2], "")+`,site="`+s.name+`"`, ",")
			labels = strings.ReplaceAll(labels, ",,", ",")
			if m[1] == "fluewright_site_info" {
				labels += `,region="` + s.region + `"`
			}
			for back := 12; back >= 0; back-- {
				grown := v
				if strings.HasSuffix(m[1], "_total") {
					grown += float64(12 - back)
				}
				put(m[1], labels, grown, now.Add(-time.Duration(back)*time.Minute))
			}
		}
	}
	for back := 12; back >= 0; back-- {
		at := now.Add(-time.Duration(back) * time.Minute)
		put("fluewright_alarm_active", `site="mill",alarm="regulator-stuck",priority="low"`, 1, at)
		put("fluewright_alarm_judged", `site="mill",alarm="overheat",channel="return"`, 0, at)
		put("fluewright_commissioning_info", `site="fen",number="FW-20251004-00000000",result="fail"`, 1, at)
	}
	gone := now.Add(-2 * time.Hour)
	put("fluewright:site_seen:kept", `site="dale"`, float64(gone.Unix()), gone)
	put("fluewright:site_region:kept", `site="dale",region="north"`, float64(gone.Unix()), gone)
	put("fluewright:site_seen:kept", `site="fen"`, float64(now.Unix()), now)
	put("fluewright:alarm_standing:kept", `site="dale",alarm="spillage",priority="high"`, float64(gone.Unix()), gone)
	// What the rules recorded in a week.
	for back := 168; back >= 0; back-- {
		at, hours := now.Add(-time.Duration(back)*time.Hour), float64(168-back)
		put("fluewright:draft_share:avg30m", `site="mill",fire="burning"`, 0.8, at)
		put("fluewright:smoulder_seconds:hourly", `site="mill"`, 1200*hours, at)
		put("fluewright:fire_seconds:hourly", `site="mill",outdoor="0-to-10"`, 1800*hours, at)
		put("fluewright:spillages:hourly", `site="mill",outdoor="0-to-10"`, math.Floor(hours/50), at)
		put("fluewright:spillage_alarms:hourly", `site="mill"`, math.Floor(hours/50), at)
	}
	var b bytes.Buffer
	for name, lines := range families {
		// Its family has a counter's name without the end.
		family, isCounter := strings.CutSuffix(name, "_total")
		kind := "gauge"
		if isCounter {
			kind = "counter"
		}
		fmt.Fprintf(&b, "# TYPE %s %s\n%s\n", family, kind, strings.Join(lines, "\n"))
	}
	b.WriteString("# EOF\n")
	return b.Bytes()
}

// desk runs a real Prometheus with the fleet's rules over such a week. They are evaluated each
// second, so that nobody waits for an hour.
func desk(t *testing.T) (address string) {
	t.Helper()
	promtool, prometheus := tool(t, "promtool"), tool(t, "prometheus")
	dir := t.TempDir()
	now := time.Now().Truncate(time.Second)
	for name, text := range map[string]string{
		"week.om":         string(week(t, now)),
		"fleet.rules.yml": regexp.MustCompile(`interval: .*`).ReplaceAllString(read(t, "fleet/prometheus/fleet.rules.yml"), "interval: 1s"),
		"prometheus.yml":  "global: {evaluation_interval: 1s}\nrule_files: [fleet.rules.yml]\nstorage: {tsdb: {out_of_order_time_window: 72h}}\n",
	} {
		if err := os.WriteFile(filepath.Join(dir, name), []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	data := filepath.Join(dir, "data")
	if out, err := exec.Command(promtool, "tsdb", "create-blocks-from", "openmetrics", filepath.Join(dir, "week.om"), data).CombinedOutput(); err != nil {
		t.Fatalf("%v\n%.2000s", err, out)
	}
	address = free(t)
	run(t, prometheus, "--config.file="+filepath.Join(dir, "prometheus.yml"), "--storage.tsdb.path="+data,
		"--storage.tsdb.retention.time=30d", "--web.listen-address="+address)
	answers(t, "http://"+address+"/-/ready")
	return address
}

// ask returns how many series a query gives, and the first value of the first.
func ask(t *testing.T, address, path string, form url.Values) (series int, value string) {
	t.Helper()
	r, err := http.PostForm("http://"+address+path, form)
	if err != nil {
		t.Fatal(err)
	}
	defer r.Body.Close()
	text, err := io.ReadAll(r.Body)
	if err != nil {
		t.Fatal(err)
	}
	var answer struct {
		Error string
		Data  struct {
			Result []struct {
				Value  []any
				Values [][]any
			}
		}
	}
	if err := json.Unmarshal(text, &answer); err != nil || answer.Error != "" {
		t.Errorf("%s: %v %s", form.Get("query"), err, answer.Error)
		return 0, ""
	}
	for _, s := range answer.Data.Result {
		if len(s.Value) == 2 {
			value = fmt.Sprint(s.Value[1])
			break
		}
	}
	return len(answer.Data.Result), value
}

func TestEveryQueryOfADashboardReturnsSomething(t *testing.T) {
	if testing.Short() {
		t.Skip("runs a real Prometheus")
	}
	address := desk(t)
	choose := strings.NewReplacer("$region", ".*", "$site", "mill", "$__range", "1d")
	within(t, "the rules have not run", func() bool {
		for _, last := range []string{"fluewright:region_spillages:7d", "fluewright:draft_share:median7d", `ALERTS{alertname="FluewrightSpillsOften"}`} {
			if n, _ := ask(t, address, "/api/v1/query", url.Values{"query": {last}}); n == 0 {
				return false
			}
		}
		return true
	})
	want := map[string]string{
		"High alarms that stand": "2", "Silent sites": "1", "Sites that are heard": "3", "Never commissioned": "1",
		"Failed, stopped or not complete": "1", "Draw less than they did": "1",
	}
	asked := 0
	for file, b := range dashboards(t) {
		for _, p := range b.Panels {
			for _, q := range p.Targets {
				asked++
				form := url.Values{"query": {choose.Replace(q.Expr)}}
				path := "/api/v1/query"
				if !q.Instant {
					path = "/api/v1/query_range"
					form.Set("start", fmt.Sprint(time.Now().Add(-10*time.Minute).Unix()))
					form.Set("end", fmt.Sprint(time.Now().Unix()))
					form.Set("step", "15")
				}
				n, value := ask(t, address, path, form)
				if n == 0 {
					t.Errorf("%s, %s: nothing comes of\n%s", file, p.Title, form.Get("query"))
				}
				if w, ok := want[p.Title]; ok && q.Instant && p.Type == "stat" && value != w {
					t.Errorf("%s, %s: %s, want %s", file, p.Title, value, w)
				}
			}
		}
		for _, v := range b.Templating.List {
			if v.Type != "query" {
				continue
			}
			metric, _, _ := strings.Cut(strings.TrimPrefix(fmt.Sprint(v.Query), "label_values("), ",")
			if n, _ := ask(t, address, "/api/v1/query", url.Values{"query": {metric}}); n == 0 {
				t.Errorf("%s: nothing to choose for %s", file, v.Name)
			}
		}
	}
	if asked < 40 {
		t.Errorf("only %d queries were found", asked)
	}
}
