package signal

import (
	"encoding/csv"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"testing"
)

// table reads a CSV of testdata/signal without its header.
func table(t testing.TB, name string) [][]string {
	t.Helper()
	f, err := os.Open(filepath.Join("..", "..", "testdata", "signal", name))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	return rows[1:]
}

func number(t testing.TB, cell string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(cell, 64)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

// near fails unless got is within tolerance of want; NaN never is.
func near(t testing.TB, what string, got, want, tolerance float64) {
	t.Helper()
	if !close(got, want, tolerance) {
		t.Errorf("%s: got %.12g, want %.12g ± %g", what, got, want, tolerance)
	}
}

func close(got, want, tolerance float64) bool { return math.Abs(got-want) <= tolerance }

// must returns what a constructor made.
func must[T any](made T, err error) T {
	if err != nil {
		panic(err)
	}
	return made
}
