package parquet_test

import (
	"bytes"
	"errors"
	"fmt"
	"math"
	"testing"

	reader "github.com/parquet-go/parquet-go" // another's: it knows the format and not us
	"pgregory.net/rapid"

	"fluewright/daemon/internal/trend/parquet"
)

type row struct {
	ms     int64
	values []float64
}

func write(t rapid.TB, names []string, rows []row) []byte {
	t.Helper()
	var b bytes.Buffer
	w := parquet.NewWriter(&b, names, "site", "barn")
	for _, r := range rows {
		if err := w.Row(r.ms, r.values); err != nil {
			t.Fatal(err)
		}
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// check reads the file with another's reader and compares every value.
func check(t rapid.TB, file []byte, names []string, rows []row) {
	t.Helper()
	f, err := reader.OpenFile(bytes.NewReader(file), int64(len(file)))
	if err != nil {
		t.Fatal(err)
	}
	if got := f.NumRows(); got != int64(len(rows)) {
		t.Fatalf("%d rows, want %d", got, len(rows))
	}
	for i, c := range f.Schema().Columns() {
		want := "time"
		if i > 0 {
			want = names[i-1]
		}
		if c[0] != want {
			t.Fatalf("column %d is %q, want %q", i, c[0], want)
		}
	}
	if site, ok := f.Lookup("site"); !ok || site != "barn" {
		t.Errorf("site %q", site)
	}
	at := 0
	for _, g := range f.RowGroups() {
		got := g.Rows()
		buffer := make([]reader.Row, 1000)
		for {
			n, err := got.ReadRows(buffer)
			for _, r := range buffer[:n] {
				same(t, r, &rows[at])
				at++
			}
			if err != nil {
				break
			}
		}
		if err := got.Close(); err != nil {
			t.Fatal(err)
		}
	}
	if at != len(rows) {
		t.Fatalf("read %d rows of %d", at, len(rows))
	}
}

func same(t rapid.TB, got reader.Row, want *row) {
	t.Helper()
	if got[0].Int64() != want.ms {
		t.Fatalf("time %d, want %d", got[0].Int64(), want.ms)
	}
	for i, v := range want.values {
		if g := got[i+1]; g.IsNull() != math.IsNaN(v) || !g.IsNull() && g.Double() != v {
			t.Fatalf("at %d column %d: %v, want %v", want.ms, i, g, v)
		}
	}
}

func TestAnotherReadsWhatIsWritten(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var names []string
		for i := range rapid.IntRange(0, 20).Draw(t, "columns") {
			names = append(names, fmt.Sprintf("c%d", i))
		}
		rows := rapid.SliceOfN(rapid.Custom(func(t *rapid.T) row {
			r := row{ms: rapid.Int64Range(-1e12, 4e12).Draw(t, "ms")}
			for range names {
				v := rapid.Float64().Draw(t, "value")
				if rapid.Bool().Draw(t, "none") {
					v = math.NaN()
				}
				r.values = append(r.values, v)
			}
			return r
		}), 0, 40).Draw(t, "rows")
		check(t, write(t, names, rows), names, rows)
	})
}

// A long table is several row groups; a column may have no value at all.
func TestALongTable(t *testing.T) {
	names := []string{"flue_celsius", "draft_pascals"}
	var rows []row
	for i := range 150_001 {
		rows = append(rows, row{int64(i) * 1000, []float64{float64(i%4000) / 16, math.NaN()}})
	}
	check(t, write(t, names, rows), names, rows)
}

type full struct{ left int }

var errFull = errors.New("no space")

func (f *full) Write(b []byte) (int, error) {
	if f.left -= len(b); f.left < 0 {
		return 0, errFull
	}
	return len(b), nil
}

func TestAFullDiskIsAnError(t *testing.T) {
	whole := write(t, []string{"flue_celsius"}, []row{{0, []float64{20}}})
	for left := range whole {
		w := parquet.NewWriter(&full{left}, []string{"flue_celsius"}, "site", "barn")
		err := w.Row(0, []float64{20})
		if err = errors.Join(err, w.Close()); !errors.Is(err, errFull) {
			t.Fatalf("%d bytes fit: %v", left, err)
		}
	}
}
