package parquet_test

import (
	"bytes"
	"errors"
	"flag"
	"math"
	"os"
	"testing"

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

const golden = "testdata/golden.parquet"

var (
	update      = flag.Bool("update", false, "write the golden file anew")
	goldenNames = []string{"flue_celsius", "draft_pascals", "room_celsius"}
)

// goldenRows has a value that is missing, a column that has none and an odd number of rows.
func goldenRows() []row {
	var rows []row
	for i := range 101 {
		r := row{1_767_225_600_000 + int64(i)*1000, []float64{150 + float64(i)*1.0625, -0.25 * float64(i), math.NaN()}}
		if i%7 == 3 {
			r.values[0] = math.NaN()
		}
		rows = append(rows, r)
	}
	return rows
}

func TestTheGoldenFile(t *testing.T) {
	got := write(t, goldenNames, goldenRows())
	if *update {
		if err := os.WriteFile(golden, got, 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(golden)
	if err != nil {
		t.Fatal(err)
	}
	if !bytes.Equal(got, want) {
		t.Errorf("%d bytes, the golden file has %d others", len(got), len(want))
	}
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
