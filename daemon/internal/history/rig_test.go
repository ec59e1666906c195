package history_test

import (
	"context"
	"database/sql"
	"fmt"
	"log/slog"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"fluewright/analysis"
	"fluewright/analysis/alarm"
	"fluewright/analysis/burn"
	"fluewright/analysis/frame"
	"fluewright/daemon/internal/history"
	"fluewright/daemon/internal/status"
)

var noon = time.Date(2026, 11, 25, 12, 0, 0, 0, time.UTC)

// si is the plainest units there are.
type si struct{}

func (si) Temperature(c float64) string { return fmt.Sprintf("%.0f °C", c) }
func (si) Pressure(p float64) string    { return fmt.Sprintf("%.1f Pa", p) }

// site is a furnace with a flue and a draft, and a store that is told of it.
type site struct {
	*history.Store
	t    testing.TB
	wall time.Time // at the zero of the frames' clock
	// trusted, phase, alarms and values are those of the next ticks.
	trusted bool
	phase   burn.Phase
	alarms  []alarm.Status
	values  func(at time.Duration) frame.Values
	stop    func()
}

func options(dir string) history.Options {
	return history.Options{Dir: dir, Software: "1.0", Configuration: "[site]\n", Units: si{}, Log: slog.New(slog.DiscardHandler)}
}

// begin starts a store as the program does.
func begin(t testing.TB, o history.Options) *site {
	s := &site{Store: history.New(o), t: t, wall: noon, trusted: true, phase: burn.CleanBurn}
	s.values = func(at time.Duration) frame.Values {
		v := nothing()
		v[frame.Flue] = 250 + 0.25*math.Floor(40*math.Sin(at.Seconds()/600))
		v[frame.Draft] = 12 + 0.1*math.Floor(20*math.Sin(at.Seconds()/17))
		return v
	}
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan struct{})
	go func() { defer close(done); _ = s.Run(ctx) }()
	s.stop = func() { cancel(); <-done }
	t.Cleanup(func() {
		s.stop()
		ctx, cancel := context.WithTimeout(context.Background(), 30*time.Second)
		defer cancel()
		_ = s.Close(ctx) // for tests that leave it open
	})
	return s
}

func nothing() (v frame.Values) {
	for c := range v {
		v[c] = math.NaN()
	}
	return v
}

// tick offers one tick with events.
func (s *site) tick(at time.Duration, events ...analysis.Event) {
	s.Offer(s.status(at, events...))
}

func (s *site) status(at time.Duration, events ...analysis.Event) *status.Status {
	return s.statusOf(at, s.values(at), events...)
}

func (s *site) statusOf(at time.Duration, values frame.Values, events ...analysis.Event) *status.Status {
	st := &status.Status{Wall: s.wall.Add(at), ClockTrusted: s.trusted}
	st.Frame.At = at
	for c, v := range values {
		if !math.IsNaN(v) {
			st.Frame.Inputs[c] = frame.Input{Value: v, Quality: frame.Good}
		}
	}
	for i := range events {
		events[i].At = at
	}
	st.Assessment = analysis.Assessment{At: at, Phase: s.phase, Alarms: s.alarms, Events: events}
	return st
}

// ticks offers one a second.
func (s *site) ticks(from, to time.Duration) {
	for at := from; at < to; at += time.Second {
		s.tick(at)
	}
}

func (s *site) commit() {
	s.t.Helper()
	ctx, cancel := context.WithTimeout(context.Background(), 30*time.Second)
	defer cancel()
	if err := s.Commit(ctx); err != nil {
		s.t.Fatal(err)
	}
}

// close ends the store as the program does.
func (s *site) close() {
	s.t.Helper()
	s.stop()
	ctx, cancel := context.WithTimeout(context.Background(), 30*time.Second)
	defer cancel()
	if err := s.Close(ctx); err != nil {
		s.t.Fatal(err)
	}
}

// rows reads everything at full rate.
func (s *site) rows() []history.Row {
	s.t.Helper()
	var all []history.Row
	for r, err := range s.Rows(context.Background(), time.UnixMilli(0), noon.AddDate(100, 0, 0)) {
		if err != nil {
			s.t.Fatal(err)
		}
		all = append(all, r)
	}
	return all
}

func (s *site) rowsFrom(from time.Time) (all []history.Row) {
	s.t.Helper()
	for r, err := range s.Rows(context.Background(), from, noon.AddDate(100, 0, 0)) {
		if err != nil {
			s.t.Fatal(err)
		}
		all = append(all, r)
	}
	return all
}

func raised(name alarm.Name, c frame.Channel, occurrence uint32) analysis.Event {
	return analysis.Event{Kind: analysis.AlarmChanged, Change: alarm.WasRaised, Alarm: alarm.Status{
		Key: alarm.Key{Name: name, Channel: c}, State: alarm.Raised, Priority: alarm.High, Occurrence: occurrence, Value: 555, Limit: 538,
	}}
}

// query asks Debian's sqlite3 about a file that is closed.
func query(t testing.TB, dir, sql string) string {
	t.Helper()
	path, err := exec.LookPath("sqlite3")
	if err != nil {
		t.Skip("sqlite3 is not installed")
	}
	out, err := exec.Command(path, "-readonly", filepath.Join(dir, history.FileName), sql).CombinedOutput()
	if err != nil {
		t.Fatalf("%s: %v\n%s", sql, err, out)
	}
	return strings.TrimSpace(string(out))
}

// change works on a file that is closed.
func change(t testing.TB, dir, statements string) {
	t.Helper()
	db, err := sql.Open("sqlite", filepath.Join(dir, history.FileName))
	if err != nil {
		t.Fatal(err)
	}
	if _, err := db.Exec(statements); err != nil {
		t.Fatal(err)
	}
	if err := db.Close(); err != nil {
		t.Fatal(err)
	}
}

// cutOff returns a directory with what a cut of the power would leave now.
func (s *site) cutOff() string {
	s.t.Helper()
	dir := s.t.TempDir()
	for _, end := range []string{"", "-wal"} {
		b, err := os.ReadFile(s.Health().Path + end)
		if err != nil {
			s.t.Fatal(err)
		}
		if err := os.WriteFile(filepath.Join(dir, history.FileName+end), b, 0o600); err != nil {
			s.t.Fatal(err)
		}
	}
	return dir
}

func itoa(n int) string { return strconv.Itoa(n) }

// foreign is a database of another program.
func foreign(t testing.TB) []byte {
	t.Helper()
	path := filepath.Join(t.TempDir(), "other.db")
	db, err := sql.Open("sqlite", path)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := db.Exec("CREATE TABLE other (a); PRAGMA user_version = 7"); err != nil {
		t.Fatal(err)
	}
	if err := db.Close(); err != nil {
		t.Fatal(err)
	}
	b, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	return b
}
