package history_test

import (
	"archive/zip"
	"bytes"
	"context"
	"encoding/hex"
	"errors"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"fluewright/analysis/alarm"
	"fluewright/analysis/frame"
	"fluewright/daemon/internal/history"
)

func open(t testing.TB, path string) *history.Archive {
	t.Helper()
	a, err := history.Open(t.Context(), path)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := a.Close(); err != nil {
			t.Error(err)
		}
	})
	return a
}

func all(t testing.TB, a *history.Archive) (rows []history.Row) {
	t.Helper()
	from, to := a.Span()
	for r, err := range a.Rows(t.Context(), from, to) {
		if err != nil {
			t.Fatal(err)
		}
		rows = append(rows, r)
	}
	return rows
}

// begun returns a directory with a history of two runs: an hour each, half an hour apart,
// the first with an alarm.
func begun(t testing.TB) string {
	dir := t.TempDir()
	o := options(dir)
	o.Configuration = "[site]\nname = \"barn\"\n[mqtt]\npassword = \"geheim\"\n"
	one := begin(t, o)
	one.ticks(0, 20*time.Minute)
	one.tick(20*time.Minute, raised(alarm.Overheat, frame.Flue, 1))
	one.ticks(20*time.Minute+time.Second, time.Hour)
	one.close()
	o.Software = "1.1"
	two := begin(t, o)
	two.wall = noon.Add(90 * time.Minute)
	two.ticks(0, time.Hour)
	two.Note("technician", "mark 3")
	two.close()
	return dir
}

func TestOpen(t *testing.T) {
	dir := begun(t)
	for _, path := range []string{dir, filepath.Join(dir, history.FileName)} {
		a := open(t, path)
		from, to := a.Span()
		if want := noon.Add(150 * time.Minute); !from.Equal(noon) || !to.Equal(want) {
			t.Errorf("from %v to %v, want %v to %v", from, to, noon, want)
		}
		if n := len(all(t, a)); n != 7200 {
			t.Errorf("%d rows, want 7200", n)
		}
		boots, err := a.Boots(t.Context(), from, to)
		if err != nil || len(boots) != 2 || boots[0].Software != "1.0" || boots[1].Software != "1.1" || !boots[1].From.Equal(noon.Add(90*time.Minute)) {
			t.Errorf("%+v, %v", boots, err)
		}
		if got, err := a.Channels(t.Context(), from, to); err != nil || got != [frame.Count]bool{frame.Flue: true, frame.Draft: true} {
			t.Errorf("channels %v, %v", got, err)
		}
		events, err := a.Events(t.Context(), "alarms", from, to)
		if err != nil || len(events) != 1 || !events[0].At.Equal(noon.Add(20*time.Minute)) {
			t.Errorf("%+v, %v", events, err)
		}
	}
}

// What is opened is not touched, be it cut off in the middle of a run.
func TestOpenACopyOfARunningHistory(t *testing.T) {
	s := begin(t, options(t.TempDir()))
	s.ticks(0, 25*time.Minute)
	s.commit()
	dir := s.cutOff()
	read := func() string {
		var b bytes.Buffer
		for _, end := range []string{"", "-wal"} {
			part, err := os.ReadFile(filepath.Join(dir, history.FileName+end))
			if err != nil {
				t.Fatal(err)
			}
			b.Write(part)
		}
		return hex.EncodeToString(b.Bytes())
	}
	before := read()
	rows := all(t, open(t, dir))
	// The row of the last second is still open.
	if n := len(rows); n != 25*60-1 {
		t.Errorf("%d rows, want all %d that were committed", n, 25*60-1)
	}
	if read() != before {
		t.Error("the file that was opened has changed")
	}
	// The live file too, where it is.
	if n := len(all(t, open(t, s.Health().Path))); n != len(rows) {
		t.Errorf("%d rows of the live file, want %d", n, len(rows))
	}
}

func TestOpenSaysWhatIsWrong(t *testing.T) {
	dir := begun(t)
	whole, err := os.ReadFile(filepath.Join(dir, history.FileName))
	if err != nil {
		t.Fatal(err)
	}
	var z bytes.Buffer
	w := zip.NewWriter(&z)
	if _, err := w.Create("other.txt"); err != nil {
		t.Fatal(err)
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	for name, tt := range map[string]struct {
		content []byte
		want    string
	}{
		"text":          {[]byte("time,flue_celsius\n1,20\n"), "neither a history nor a bundle"},
		"empty":         {nil, "neither a history nor a bundle"},
		"other zip":     {z.Bytes(), "neither a history nor a bundle"},
		"other program": {foreign(t), "not a history"},
		"truncated":     {whole[:len(whole)/3], "damaged, or was cut short"},
		"only a head":   {whole[:100], "damaged, or was cut short"},
	} {
		t.Run(name, func(t *testing.T) {
			path := filepath.Join(t.TempDir(), "it")
			if err := os.WriteFile(path, tt.content, 0o600); err != nil {
				t.Fatal(err)
			}
			if _, err := history.Open(t.Context(), path); err == nil || !strings.Contains(err.Error(), tt.want) {
				t.Errorf("%v, want %q", err, tt.want)
			}
		})
	}
	if _, err := history.Open(t.Context(), filepath.Join(dir, "nowhere")); !errors.Is(err, os.ErrNotExist) {
		t.Error(err)
	}
}

func bundle(t testing.TB, a *history.Archive, from, to time.Time, most int64) (string, history.Bundled) {
	t.Helper()
	var b bytes.Buffer
	made, err := a.Bundle(t.Context(), &b, from, to, history.FullRate, most)
	if err != nil {
		t.Fatal(err)
	}
	if int64(b.Len()) != made.Bytes {
		t.Errorf("%d bytes, said were %d", b.Len(), made.Bytes)
	}
	path := filepath.Join(t.TempDir(), "bundle.zip")
	if err := os.WriteFile(path, b.Bytes(), 0o600); err != nil {
		t.Fatal(err)
	}
	return path, made
}

// A bundle is a history like the one that it is of, of the window alone.
func TestBundle(t *testing.T) {
	a := open(t, begun(t))
	from, to := noon.Add(15*time.Minute), noon.Add(100*time.Minute)
	path, made := bundle(t, a, from, to, 0)
	if !made.FullFrom.Equal(from) {
		t.Errorf("at full rate from %v, want %v", made.FullFrom, from)
	}
	b := open(t, path)
	want := 0
	got := map[time.Time]history.Row{}
	for r, err := range b.Rows(t.Context(), from, to) {
		if err != nil {
			t.Fatal(err)
		}
		got[r.At] = r
	}
	for r, err := range a.Rows(t.Context(), from, to) {
		if err != nil {
			t.Fatal(err)
		}
		want++
		if g := got[r.At]; g.Values[frame.Flue] != r.Values[frame.Flue] || g.Quality != r.Quality {
			t.Fatalf("at %v: %+v, want %+v", r.At, g, r)
		}
	}
	if len(got) != want || want != 45*60+10*60 {
		t.Errorf("%d rows, want %d", len(got), want)
	}
	more := 0
	for range b.Rows(t.Context(), noon, noon.Add(4*time.Hour)) {
		more++
	}
	if more > want+2*600 {
		t.Errorf("%d rows in all: more than the blocks at the window's ends hold", more)
	}
	if begin, end := b.Span(); !begin.Equal(from) || !end.Equal(to) {
		t.Errorf("from %v to %v, want %v to %v", begin, end, from, to)
	}
	events, err := b.Events(t.Context(), "alarms", noon, to)
	if err != nil || len(events) != 1 || !events[0].At.Equal(noon.Add(20*time.Minute)) {
		t.Errorf("%+v, %v", events, err)
	}
	if notes, err := b.Events(t.Context(), "notes", noon, noon.Add(4*time.Hour)); err != nil || len(notes) != 0 {
		t.Errorf("a note from after the window: %v, %v", notes, err)
	}

	z, err := zip.OpenReader(path)
	if err != nil {
		t.Fatal(err)
	}
	defer z.Close()
	for _, f := range z.File {
		r, err := f.Open()
		if err != nil {
			t.Fatal(err)
		}
		text, err := io.ReadAll(r)
		if err != nil {
			t.Fatal(err)
		}
		if bytes.Contains(text, []byte("geheim")) {
			t.Errorf("%s holds the secret", f.Name)
		}
		if f.Name == "configuration.toml" && !bytes.Contains(text, []byte(`name = "barn"`)) {
			t.Errorf("configuration %q", text)
		}
	}
}

// An alarm that was raised before the window and still stands is in it.
func TestABundleKnowsWhatStood(t *testing.T) {
	from := noon.Add(40 * time.Minute)
	path, _ := bundle(t, open(t, begun(t)), from, noon.Add(45*time.Minute), 0)
	events, err := open(t, path).Events(t.Context(), "alarms", noon, from)
	if err != nil || len(events) != 1 || events[0].Fields["change"] != "raised" {
		t.Errorf("%+v, %v", events, err)
	}
}

// A bundle that must be small leaves out the oldest rows, but for those around an alarm,
// and says so; sums by the minute stay.
func TestASmallBundle(t *testing.T) {
	if testing.Short() {
		t.Skip("keeps days, and the same ones on every machine")
	}
	dir := t.TempDir()
	s := begin(t, options(dir))
	for h := range 9 { // what is waiting is bounded: more at once would be dropped
		s.ticks(time.Duration(h)*time.Hour, time.Duration(h+1)*time.Hour)
		s.commit()
	}
	s.tick(9*time.Hour, raised(alarm.Overheat, frame.Flue, 1))
	for h := 9; h < 24; h++ {
		s.ticks(time.Duration(h)*time.Hour+time.Second, time.Duration(h+1)*time.Hour)
		s.commit()
	}
	s.close()
	a := open(t, dir)
	from, to := a.Span()
	_, whole := bundle(t, a, from, to, 0)
	most := whole.Bytes * 9 / 10
	path, made := bundle(t, a, from, to, most)
	if made.Bytes > most {
		t.Errorf("%d bytes, at most %d were wanted", made.Bytes, most)
	}
	if !made.FullFrom.After(from.Add(2*time.Hour)) || !made.FullFrom.Before(from.Add(20*time.Hour)) {
		t.Errorf("at full rate from %v on, of %v to %v", made.FullFrom, from, to)
	}
	b := open(t, path)
	at := map[time.Duration]int{}
	for r, err := range b.Rows(t.Context(), from, to) {
		if err != nil {
			t.Fatal(err)
		}
		at[r.At.Sub(noon).Truncate(time.Hour)]++
	}
	if at[time.Hour] != 0 || at[23*time.Hour] < 3599 || at[8*time.Hour] < 1800 || at[9*time.Hour] < 1800 || at[15*time.Hour] < 3599 {
		t.Errorf("rows by the hour: %v", at)
	}
	tr, err := b.Trend(t.Context(), history.Window{From: from, To: to, Columns: 24, Channels: []frame.Channel{frame.Flue}})
	if err != nil || tr.Series[0][1].N < 3599 {
		t.Errorf("%+v, %v", tr.Series, err)
	}
	// What is not there at full rate is said to be by the minute, no more and no less.
	only, err := b.ByMinuteOnly(t.Context(), from, to)
	rows := 0
	for _, n := range at {
		rows += n
	}
	if missing := to.Sub(from) - time.Duration(rows)*time.Second; err != nil || (only-missing).Abs() > time.Minute {
		t.Errorf("%v by the minute alone, want about %v; %v", only, missing, err)
	}
	if only, err := a.ByMinuteOnly(t.Context(), from, to); err != nil || only != 0 {
		t.Errorf("%v of the whole by the minute alone; %v", only, err)
	}
	if _, err := a.Bundle(t.Context(), io.Discard, from, to, history.FullRate, 2000); err == nil || !strings.Contains(err.Error(), "shorter window") {
		t.Errorf("%v", err)
	}
}

// Debian's sqlite3 reads what is in a bundle, by the documented queries.
func TestABundleInSQL(t *testing.T) {
	if _, err := exec.LookPath("sqlite3"); err != nil && os.Getenv("FLUEWRIGHT_REAL") == "1" {
		t.Fatal("sqlite3 is not installed")
	}
	path, _ := bundle(t, open(t, begun(t)), noon, noon.Add(3*time.Hour), 0)
	z, err := zip.OpenReader(path)
	if err != nil {
		t.Fatal(err)
	}
	defer z.Close()
	from, err := z.Open(history.FileName)
	if err != nil {
		t.Fatal(err)
	}
	content, err := io.ReadAll(from)
	if err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	if err := os.WriteFile(filepath.Join(dir, history.FileName), content, 0o400); err != nil {
		t.Fatal(err)
	}
	for sql, want := range map[string]string{
		"PRAGMA integrity_check":                             "ok",
		"SELECT time, alarm, channel, change FROM alarm_log": "2026-11-25T12:20:00.000Z|overheat|flue|raised",
		"SELECT count(*) FROM burn_log":                      "0",
		"SELECT time, author, note FROM note_log":            "2026-11-25T14:29:59.000Z|technician|mark 3",
		"SELECT count(*), min(time), max(time) FROM trend_1min WHERE flue_mean > 200 AND draft_min < 14": "120|2026-11-25T12:00:00.000Z|2026-11-25T14:29:00.000Z",
	} {
		if got := query(t, dir, sql); got != want {
			t.Errorf("%s: %q, want %q", sql, got, want)
		}
	}
}

// A version below zero, at byte 60 of the file, once indexed the migrations.
func TestAVersionBelowZeroIsDamage(t *testing.T) {
	dir := t.TempDir()
	s := begin(t, options(dir))
	s.ticks(0, time.Minute)
	s.close()
	file := filepath.Join(dir, history.FileName)
	data, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	data[60] = 0xFF
	if err := os.WriteFile(file, data, 0o600); err != nil {
		t.Fatal(err)
	}
	if a, err := history.Open(t.Context(), file); err == nil {
		t.Errorf("opened, %v", a.Close())
	}
}

// Files come by mail and from cards that die: whatever is in one, it is read or refused, and
// not for ever.
func TestOpenWhateverItIs(t *testing.T) {
	dir := t.TempDir()
	s := begin(t, options(dir))
	s.ticks(0, 11*time.Minute)
	s.tick(11*time.Minute, raised(alarm.Overheat, frame.Flue, 1))
	s.close()
	whole, err := os.ReadFile(filepath.Join(dir, history.FileName))
	if err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(t.TempDir(), "it.db")
	opened := 0
	rapid.Check(t, func(rt *rapid.T) {
		file := bytes.Clone(whole)
		for range rapid.IntRange(1, 3).Draw(rt, "patches") {
			at := rapid.IntRange(16, len(file)-1).Draw(rt, "at")
			copy(file[at:], rapid.SliceOfN(rapid.Byte(), 1, 60).Draw(rt, "patch"))
		}
		file = file[:rapid.SampledFrom([]int{len(file), len(file), len(file) / 2}).Draw(rt, "length")]
		if err := os.WriteFile(path, file, 0o600); err != nil {
			rt.Fatal(err)
		}
		begun := time.Now()
		if use(rt, t.Context(), path) {
			opened++
		}
		if took := time.Since(begun); took > 20*time.Second {
			rt.Errorf("it took %v", took)
		}
	})
	if opened == 0 {
		t.Error("no file was opened: this proves nothing")
	}
}

// use opens a file and asks for everything, and reports whether it could be opened.
func use(t interface{ Error(...any) }, ctx context.Context, path string) bool {
	a, err := history.Open(ctx, path)
	if err != nil {
		return false
	}
	ctx, cancel := context.WithTimeout(ctx, time.Second)
	defer cancel()
	from, to := a.Span()
	for _, err := range a.Rows(ctx, from, to) {
		if err != nil {
			break
		}
	}
	for _, kind := range []string{"alarms", "burns", "phases"} {
		events, _ := a.Events(ctx, kind, from, to)
		for _, e := range events {
			_ = e.Moment(e.No)
		}
	}
	_, _ = a.Trend(ctx, history.Window{From: from, To: to, Columns: 100, Channels: fluedraft})
	_, _ = a.Bundle(ctx, io.Discard, from, to, history.FullRate, 1<<20)
	if err := a.Close(); err != nil {
		t.Error(err)
	}
	return true
}
