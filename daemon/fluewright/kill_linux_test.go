package main_test

import (
	"context"
	"database/sql"
	"encoding/json"
	"fmt"
	"log/slog"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"syscall"
	"testing"
	"time"

	"fluewright/daemon/internal/history"
	"fluewright/daemon/internal/porttest"
	"fluewright/daemon/internal/status"
	"fluewright/daemon/internal/units"
)

// promised is how much of what was read a kill may take while a fire burns, and delayed
// what a busy computer may add.
const (
	promised = 61 * time.Second // a minute, and the row that is not over
	delayed  = 3 * time.Second
)

// The built program is killed again and again while a fire burns: no alarm that a stranger's
// subscriber has heard of is missing in the history, and of the readings at most the
// promised minute is.
func TestAKillTakesNoAlarmThatWasAnnounced(t *testing.T) {
	if testing.Short() {
		t.Skip("it burns for two minutes")
	}
	needRealParts(t, "mosquitto", "mosquitto_sub")
	t.Parallel()
	dir := t.TempDir()
	broker := startMosquitto(t, dir)
	bench := startBench(t, dir)
	file, state := filepath.Join(dir, "fluewright.toml"), filepath.Join(dir, "state")
	if err := os.Mkdir(state, 0o700); err != nil {
		t.Fatal(err)
	}
	writeFile(t, file, fmt.Sprintf(`
[site]
name = "cellar"
[alarms.spillage]
hold = "1 s"
clear-after = "1 s"
[mqtt]
broker = "tcp://%s"
[web]
listen = "%s"
`, broker, porttest.Free(t).String()))
	seen := subscribe(t, broker, "fluewright/cellar/#")
	run := func() *process {
		return start(t, build(t, "."), "run", "--config", file, "--state", state)
	}
	kill := func(p *process) (at time.Time) {
		at = time.Now()
		p.signal(syscall.SIGKILL)
		_ = p.wait(ending)
		return at
	}

	// A long one without an alarm, whose readings are on their way to the file once a minute.
	bench.do("pin flue 60", "pin chamber 60", "pin draft 12")
	daemon := run()
	seen.await(t, 10*time.Second, "fluewright/cellar/state", `"flue"`)
	bench.do("pin flue 300", "pin chamber 600")
	seen.await(t, 20*time.Second, "fluewright/cellar/event", `"to":"clean-burn"`)
	<-time.After(80 * time.Second)
	killed := []time.Time{kill(daemon)}

	// Short ones, killed as soon as somebody has heard of the alarm or of its end, or a little
	// later. What a killed one has raised stands in the next, which does not say it again.
	for i := range 8 {
		daemon := run()
		seen.await(t, 20*time.Second, "fluewright/cellar/availability", `"state":"online"`)
		draft, state := "pin draft -5", "raised"
		if i%2 == 1 {
			draft, state = "pin draft 12", "cleared"
		}
		bench.do(draft)
		seen.await(t, 30*time.Second, "fluewright/cellar/event", `"alarm":"spillage","state":"`+state+`"`)
		<-time.After(time.Duration(i%3) * 300 * time.Millisecond)
		killed = append(killed, kill(daemon))
	}
	// What is on its way to the subscriber.
	<-time.After(time.Second)
	for len(seen.lines) > 0 {
		seen.seen = append(seen.seen, <-seen.lines)
	}

	last := reopen(t, state)
	db, err := sql.Open("sqlite", "file:"+filepath.Join(state, history.FileName)+"?mode=ro")
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	kept := strings.Split(query(t, db, `SELECT b.identity || ' ' || a.alarm || '/' || coalesce(a.channel, '') || ' ' || CASE a.change WHEN 'updated' THEN a.state ELSE a.change END || ' ' || a.occurrence
		FROM alarms a JOIN boots b ON b.id = a.id >> 40`), "\n")
	announced := changes(t, seen.of("fluewright/cellar/event"))
	if len(announced) < 8 {
		t.Fatalf("heard of %q", announced)
	}
	for _, a := range announced {
		if !slices.Contains(kept, a) {
			t.Errorf("%s was announced and is not in the history:\n%s", a, strings.Join(kept, "\n"))
		}
	}
	occurrences := map[string]bool{}
	for _, a := range announced {
		if strings.Contains(a, " spillage/ raised ") {
			no := a[strings.LastIndexByte(a, ' '):]
			if occurrences[no] {
				t.Errorf("two raisings of the spillage have the number%s", no)
			}
			occurrences[no] = true
		}
	}
	if len(last) < len(killed) {
		t.Fatalf("of %d runs the history has rows of %d", len(killed), len(last))
	}
	for i, at := range killed {
		lost := at.Sub(last[i])
		t.Logf("kill %d lost %v", i, lost.Round(time.Millisecond))
		if lost > promised+delayed {
			t.Errorf("kill %d took %v", i, lost)
		}
	}
	if got := query(t, db, "PRAGMA integrity_check"); got != "ok" {
		t.Error(got)
	}
}

// changes lists alarm events as the history would.
func changes(t *testing.T, events []string) (all []string) {
	t.Helper()
	for _, e := range events {
		var event struct {
			ID   string
			Type string
			Data struct {
				Boot, Alarm, Channel, State string
				Occurrence                  int
			}
		}
		if err := json.Unmarshal([]byte(e), &event); err != nil {
			t.Fatalf("%q: %v", e, err)
		}
		if d := event.Data; event.Type == "fluewright.alarm" {
			all = append(all, fmt.Sprintf("%s %s/%s %s %d", d.Boot, d.Alarm, d.Channel, d.State, d.Occurrence))
		}
	}
	return all
}

// reopen takes the history over as the next run of the program would, and returns when the
// last row of each run was.
func reopen(t *testing.T, dir string) []time.Time {
	t.Helper()
	s := history.New(history.Options{Dir: dir, Units: units.SI, Log: slog.New(slog.DiscardHandler)})
	ctx, cancel := context.WithTimeout(t.Context(), 30*time.Second)
	defer cancel()
	running, stop := context.WithCancel(ctx)
	done := make(chan error, 1)
	go func() { done <- s.Run(running) }()
	s.Offer(&status.Status{Wall: time.Now(), ClockTrusted: true})
	if err := s.Commit(ctx); err != nil {
		t.Fatal(err)
	}
	byRun := map[int64]time.Time{}
	for r, err := range s.Rows(ctx, time.Now().Add(-time.Hour), time.Now().Add(time.Hour)) {
		if err != nil {
			t.Fatal(err)
		}
		byRun[r.Run] = r.At
	}
	stop()
	if err := <-done; err != nil {
		t.Fatal(err)
	}
	if err := s.Close(ctx); err != nil {
		t.Fatal(err)
	}
	var last []time.Time
	for run := int64(1); !byRun[run].IsZero(); run++ {
		last = append(last, byRun[run])
	}
	return last
}

// query returns the first column of all rows, a line each.
func query(t *testing.T, db *sql.DB, text string) string {
	t.Helper()
	rows, err := db.Query(text)
	if err != nil {
		t.Fatal(err)
	}
	defer rows.Close()
	var all []string
	for rows.Next() {
		var one string
		if err := rows.Scan(&one); err != nil {
			t.Fatal(err)
		}
		all = append(all, one)
	}
	if err := rows.Err(); err != nil {
		t.Fatal(err)
	}
	return strings.Join(all, "\n")
}
