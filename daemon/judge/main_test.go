package main

import (
	"encoding/json"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"fluewright/daemon/internal/config"
	"fluewright/daemon/internal/replay"
)

// playedBy makes this test binary be the program that is judged.
const playedBy = "JUDGED_REPLAY"

func TestMain(m *testing.M) {
	if os.Getenv(playedBy) == "" {
		os.Exit(m.Run())
	}
	if err := judgedReplay(os.Args[1], os.Args[2]); err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
}

func judgedReplay(conf, log string) error {
	cfg, err := config.Load(conf)
	if err != nil {
		return err
	}
	file, err := os.Open(log)
	if err != nil {
		return err
	}
	defer file.Close()
	return replay.Run(file, os.Stdout, cfg.Analysis, cfg.Site.Units)
}

func output(t *testing.T, args ...string) string {
	t.Helper()
	var out strings.Builder
	if err := run(args, &out, io.Discard); err != nil {
		t.Fatalf("judge %s: %v", strings.Join(args, " "), err)
	}
	return out.String()
}

// Tuning must not see what it is judged on.
func TestSeedsAreKeptApart(t *testing.T) {
	for _, args := range [][]string{
		{"-seed", "1000000"},
		{"-seed", "999999", "-nights", "2"},
		{"-judge", "-seed", "1000000"},
		{"-night", "curves/ordinary/1000001"},
		{"-night", "curves/ordinary/1", "-judge"},
	} {
		if err := run(append(args, "-kind", "ordinary"), io.Discard, io.Discard); err == nil || !strings.Contains(err.Error(), "judging") {
			t.Errorf("%q: error %v, want one that speaks of judging", args, err)
		}
	}
	few := []string{"-world", "curves", "-kind", "ordinary", "-nights", "1"}
	if out := output(t, few...); !strings.Contains(out, "1 to 1, seeds for tuning") {
		t.Errorf("without -judge:\n%s", out)
	}
	if out := output(t, append(few, "-judge")...); !strings.Contains(out, "1000001 to 1000001, seeds kept for judging") {
		t.Errorf("with -judge:\n%s", out)
	}
}

func TestMistakesAreSaid(t *testing.T) {
	for _, args := range [][]string{
		{"-kind", "no-such-kind"},
		{"-world", "no-such-world"},
		{"stray"},
		{"-no-such-flag"},
		{"-night", "curves/ordinary"},
		{"-night", "curves/ordinary/one"},
		{"-night", "curves/none/1"},
	} {
		if err := run(args, io.Discard, io.Discard); err == nil {
			t.Errorf("judge %q went through", args)
		}
	}
}

// The nights are judged side by side, and the output does not show it.
func TestOutputRepeats(t *testing.T) {
	if testing.Short() {
		t.Skip("plays whole nights, and the same ones on every machine")
	}
	args := []string{"-nights", "1", "-world", "curves,furnace", "-kind", "dead-wire,downdraft,coal-bed", "-v"}
	if one, two := output(t, args...), output(t, args...); one != two {
		t.Errorf("two runs differ:\n%s\n%s", one, two)
	}
}

// The engine judged within and the same engine behind a program, a configuration and a
// burn log come to the same.
func TestProgramIsJudgedAsTheEngineIs(t *testing.T) {
	if testing.Short() {
		t.Skip("plays whole nights, and the same ones on every machine")
	}
	t.Setenv(playedBy, "1")
	args := []string{"-json", "-nights", "1", "-world", "curves,furnace", "-kind", "dead-wire,downdraft,coal-bed,hose-off,noisy"}
	var engine, program report
	for out, r := range map[string]*report{
		output(t, args...): &engine,
		output(t, append(args, "-command", os.Args[0]+" {config} {log}")...): &program,
	} {
		if err := json.Unmarshal([]byte(out), r); err != nil {
			t.Fatal(err)
		}
	}
	if engine.Judged.Nights == 0 || len(engine.Judged.Raised) == 0 {
		t.Fatalf("nothing was judged: %+v", engine.Judged)
	}
	one, err := json.Marshal(engine.Judged)
	if err != nil {
		t.Fatal(err)
	}
	two, err := json.Marshal(program.Judged)
	if err != nil {
		t.Fatal(err)
	}
	if string(one) != string(two) {
		t.Errorf("the engine:\n%s\nthe program:\n%s", one, two)
	}
}

// One night can be looked at, and taken away as a log that replay reads.
func TestOneNight(t *testing.T) {
	log := filepath.Join(t.TempDir(), "night.csv")
	out := output(t, "-night", "curves/coal-bed/1", "-out", log)
	for _, want := range []string{"TRUE overfire", "TRUE wood laid on", "above its limit", "SAID overheat", "threshold", "draft-low"} {
		if !strings.Contains(out, want) {
			t.Errorf("nothing about %q in:\n%s", want, out)
		}
	}
	if err := judgedReplay(log+".toml", log); err != nil {
		t.Errorf("the log is not one for replay: %v", err)
	}
}
