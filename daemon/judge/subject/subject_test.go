package subject_test

import (
	"math"
	"os"
	"strings"
	"testing"
	"time"

	"fluewright/analysis/alarm"
	"fluewright/analysis/frame"
	"fluewright/daemon/internal/config"
	"fluewright/daemon/judge/night"
	"fluewright/daemon/judge/score"
	"fluewright/daemon/judge/subject"

	"github.com/google/go-cmp/cmp"
)

func site() night.Site {
	s := night.Site{DraftLow: 8.25, DraftHigh: 17.5, Altitude: 640}
	s.Fitted[frame.Flue], s.Fitted[frame.Draft] = true, true
	s.Limits[frame.Flue] = 425
	return s
}

func row(at time.Duration, flue, draft float64) *night.Row {
	r := &night.Row{At: at}
	for c := range r.Values {
		r.Values[c] = math.NaN()
	}
	r.Values[frame.Flue], r.Values[frame.Draft] = flue, draft
	return r
}

// The engine is told the site, and what it says arrives.
func TestEngine(t *testing.T) {
	e, err := subject.NewEngine(site())
	if err != nil {
		t.Fatal(err)
	}
	var said []score.Said
	for at := time.Duration(0); at < time.Minute; at += time.Second {
		said = append(said, e.Step(subject.Frame(row(at, 430, 12)))...)
	}
	i := 0
	for i < len(said) && said[i].Alarm != alarm.Overheat {
		i++
	}
	if i == len(said) || said[i].Channel != frame.Flue || said[i].State != "raised" || said[i].Priority != "high" {
		t.Errorf("said %+v, want an overheat of the flue", said)
	}
}

func TestEngineRefusesASite(t *testing.T) {
	s := site()
	s.DraftLow = 20
	if _, err := subject.NewEngine(s); err == nil {
		t.Error("a band upside down was taken")
	}
}

func TestThreshold(t *testing.T) {
	th := subject.NewThreshold(site())
	var said []score.Said
	for i, v := range []float64{390, 700, 390, 390, 396, 397, 394, 390, 384, 384} {
		said = append(said, th.Step(subject.Frame(row(time.Duration(i)*time.Second, v, 12)))...)
	}
	want := []score.Said{
		{At: 5 * time.Second, Alarm: alarm.Runaway, Channel: frame.Flue, State: "raised", Priority: "high"},
		{At: 9 * time.Second, Alarm: alarm.Runaway, Channel: frame.Flue, State: "cleared", Priority: "high"},
	}
	if diff := cmp.Diff(want, said); diff != "" {
		t.Errorf("said (-want +got):\n%s", diff)
	}
}

// The program judged from outside must be told of the same site as the engine.
func TestConfigIsOneThatTheDaemonReads(t *testing.T) {
	cfg, err := config.Parse("site.toml", []byte(subject.Config(site())))
	if err != nil {
		t.Fatal(err)
	}
	a := cfg.Analysis
	if a.DraftLow != 8.25 || a.DraftHigh != 17.5 || a.Limits[frame.Flue] != 425 {
		t.Errorf("the configuration reads as %+v", a)
	}
}

func TestCommand(t *testing.T) {
	dir := t.TempDir()
	script := `#!/bin/sh
grep -q 'flue = "425' "$1" || exit 1
test "$(wc -l < "$2")" = 4 || exit 1
echo '{"time":"2026-01-15T18:00:01Z","type":"phase","phase":"cold"}'
echo '{"time":"2026-01-15T18:00:02.5Z","type":"alarm","alarm":"runaway","state":"raised","priority":"high","channel":"flue","causes":[{"code":"coal-bed","weight":0.7},{"code":"draft-high","weight":0.2}]}'
echo '{"time":"2026-01-15T18:00:03Z","type":"alarm","alarm":"spillage","state":"cleared","priority":"high"}'
`
	path := dir + "/judged"
	if err := os.WriteFile(path, []byte(script), 0o700); err != nil {
		t.Fatal(err)
	}
	c, err := subject.NewCommand(path+" {config} {log}", dir, site())
	if err != nil {
		t.Fatal(err)
	}
	for i := range 3 {
		if err := c.Write(subject.Frame(row(time.Duration(i)*time.Second, 200, 12))); err != nil {
			t.Fatal(err)
		}
	}
	said, err := c.Run()
	if err != nil {
		t.Fatal(err)
	}
	want := []score.Said{
		{At: 2500 * time.Millisecond, Alarm: alarm.Runaway, Channel: frame.Flue, State: "raised", Priority: "high", Causes: []string{"coal-bed", "draft-high"}},
		{At: 3 * time.Second, Alarm: alarm.Spillage, Channel: frame.Count, State: "cleared", Priority: "high"},
	}
	if diff := cmp.Diff(want, said); diff != "" {
		t.Errorf("said (-want +got):\n%s", diff)
	}
}

func TestCommandFails(t *testing.T) {
	for _, line := range []string{"false", "/no/such/program {log}", "", "echo nonsense"} {
		c, err := subject.NewCommand(line, t.TempDir(), site())
		if err != nil {
			t.Fatal(err)
		}
		if said, err := c.Run(); err == nil {
			t.Errorf("%q: said %v without an error", line, said)
		}
	}
}

func FuzzRead(f *testing.F) {
	f.Add(`{"time":"2026-01-15T18:00:02.5Z","type":"alarm","alarm":"runaway","state":"raised","channel":"flue","causes":[{"code":"coal-bed"}]}`)
	f.Add(`{"type":"summary"}`)
	f.Add("{}\n\n")
	f.Fuzz(func(t *testing.T, lines string) {
		said, err := subject.Read(strings.NewReader(lines))
		if err == nil && len(said) > strings.Count(lines, "\n")+1 {
			t.Errorf("%d alarms out of %q", len(said), lines)
		}
	})
}
