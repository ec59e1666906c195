//go:build !arm

// The other's reader takes 64-bit values where they lie, which a 32-bit ARM refuses with a
// bus error. There the golden file stands for it, whose bytes it has read elsewhere.

package parquet_test

import (
	"bytes"
	"fmt"
	"math"
	"os"
	"testing"

	reader "github.com/parquet-go/parquet-go" // another's: it knows the format and not us
	"pgregory.net/rapid"
)

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

func TestAnotherReadsTheGoldenFile(t *testing.T) {
	file, err := os.ReadFile(golden)
	if err != nil {
		t.Fatal(err)
	}
	check(t, file, goldenNames, goldenRows())
}
