package trend_test

import (
	"archive/zip"
	"bytes"
	"encoding/json"
	"io"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"testing"
	"time"

	"fluewright/analysis/alarm"
	"fluewright/analysis/frame"
	"fluewright/daemon/internal/history"
	"fluewright/daemon/internal/trend"
	"fluewright/daemon/internal/trend/trendtest"
)

// The queries that the README gives.
const (
	burnsSQL  = `SELECT start, "end", kind, loads, peak_flue_celsius, clean_burn_s FROM burn_log ORDER BY start;`
	alarmsSQL = `SELECT time, alarm, channel, state, message FROM alarm_log WHERE change = 'raised' ORDER BY time;`
	trendSQL  = `SELECT time, flue_min, flue_mean, flue_max, draft_mean FROM trend_1min ORDER BY time;`
)

// Debian's sqlite3 finds the burns, the alarms and the trend of real nights in a copied file
// and in a bundle, as this program does.
func TestNightsInSQL(t *testing.T) {
	if testing.Short() {
		t.Skip("plays whole nights")
	}
	dir := t.TempDir()
	told := trendtest.Record(t, dir, night(t, "ordinary", 1, evening), night(t, "regulator stuck shut", 3, evening.AddDate(0, 0, 4)))
	a := open(t, dir)
	burns, err := trend.Burns(t.Context(), a, trend.Window{})
	if err != nil {
		t.Fatal(err)
	}
	raised := 0
	for _, e := range told {
		if e.Change == alarm.WasRaised {
			raised++
		}
	}
	if len(burns) < 2 || raised == 0 {
		t.Fatalf("%d burns and %d alarms: these nights prove nothing", len(burns), raised)
	}
	for name, file := range map[string]string{"copy": copied(t, dir), "bundle": bundled(t, a)} {
		var rows []map[string]any
		ask(t, file, burnsSQL, &rows)
		if len(rows) != len(burns) {
			t.Errorf("%s: %d burns of %d", name, len(rows), len(burns))
		}
		for i, r := range rows {
			b := burns[i]
			if !moment(t, r["start"]).Equal(b.Start) || !moment(t, r["end"]).Equal(b.End) || r["kind"] != b.Kind ||
				b.PeakFlue == nil || r["peak_flue_celsius"] != *b.PeakFlue || r["clean_burn_s"] != b.CleanBurn || r["loads"] != float64(b.Loads) {
				t.Errorf("%s: burn %d: %v, want %+v", name, i, r, b)
			}
		}
		ask(t, file, alarmsSQL, &rows)
		if len(rows) != raised {
			t.Errorf("%s: %d alarms of %d", name, len(rows), raised)
		}
		i := 0
		for _, e := range told {
			if e.Change != alarm.WasRaised || i == len(rows) {
				continue
			}
			key, _ := rows[i]["alarm"].(string)
			if c, ok := rows[i]["channel"].(string); ok && c != "" {
				key += "/" + c
			}
			if key != e.Alarm || rows[i]["message"] == "" || moment(t, rows[i]["time"]).Sub(e.At).Abs() > time.Millisecond {
				t.Errorf("%s: %v, want %+v", name, rows[i], e)
			}
			i++
		}
		ask(t, file, trendSQL, &rows)
		sameTrend(t, name, a, rows)
	}
}

// sameTrend compares minutes in SQL with what the rows themselves come to.
func sameTrend(t *testing.T, name string, a *history.Archive, got []map[string]any) {
	t.Helper()
	from, to := a.Span()
	type sums struct{ n, least, most, sum float64 }
	want := map[int64]*sums{}
	for r, err := range a.Rows(t.Context(), from, to) {
		if err != nil {
			t.Fatal(err)
		}
		v := r.Values[frame.Flue]
		if math.IsNaN(v) {
			continue
		}
		s := want[r.At.Unix()/60]
		if s == nil {
			s = &sums{least: v, most: v}
			want[r.At.Unix()/60] = s
		}
		s.n, s.sum, s.least, s.most = s.n+1, s.sum+v, min(s.least, v), max(s.most, v)
	}
	found := 0
	for _, r := range got {
		s := want[moment(t, r["time"]).Unix()/60]
		if s == nil {
			if r["flue_mean"] != nil {
				t.Errorf("%s: %v where no row is", name, r)
			}
			continue
		}
		found++
		// The mean is a whole count: an eighth of a kelvin.
		if r["flue_min"] != s.least || r["flue_max"] != s.most || math.Abs(r["flue_mean"].(float64)-s.sum/s.n) > 1.0/16+1e-9 {
			t.Errorf("%s: %v, want %+v", name, r, *s)
		}
	}
	if found != len(want) || found == 0 {
		t.Errorf("%s: %d minutes of %d", name, found, len(want))
	}
}

func moment(t *testing.T, v any) time.Time {
	t.Helper()
	text, _ := v.(string)
	at, err := time.Parse(time.RFC3339Nano, text)
	if err != nil {
		t.Fatal(err)
	}
	return at
}

// ask runs Debian's sqlite3.
func ask(t *testing.T, file, sql string, into *[]map[string]any) {
	t.Helper()
	path, err := exec.LookPath("sqlite3")
	if err != nil {
		if os.Getenv("FLUEWRIGHT_REAL") == "1" {
			t.Fatal("sqlite3 is not installed")
		}
		t.Skip("sqlite3 is not installed")
	}
	out, err := exec.Command(path, "-readonly", "-json", file, sql).CombinedOutput()
	if err != nil {
		t.Fatalf("%s: %v\n%s", sql, err, out)
	}
	*into = nil
	if err := json.Unmarshal(out, into); err != nil {
		t.Fatalf("%s: %v\n%.300s", sql, err, out)
	}
}

func copied(t *testing.T, dir string) string {
	t.Helper()
	data, err := os.ReadFile(filepath.Join(dir, history.FileName))
	if err != nil {
		t.Fatal(err)
	}
	return kept(t, data)
}

func bundled(t *testing.T, a *history.Archive) string {
	t.Helper()
	from, to := a.Span()
	var b bytes.Buffer
	if _, err := a.Bundle(t.Context(), &b, from, to, history.FullRate, 0); err != nil {
		t.Fatal(err)
	}
	z, err := zip.NewReader(bytes.NewReader(b.Bytes()), int64(b.Len()))
	if err != nil {
		t.Fatal(err)
	}
	f, err := z.Open(history.FileName)
	if err != nil {
		t.Fatal(err)
	}
	data, err := io.ReadAll(f)
	if err != nil {
		t.Fatal(err)
	}
	return kept(t, data)
}

func kept(t *testing.T, data []byte) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "mailed.db")
	if err := os.WriteFile(path, data, 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}
