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

// noise is a small generator whose numbers, from 0 to 1, are exact on every
// architecture.
type noise uint64

func (n *noise) next() float64 {
	*n = *n*6364136223846793005 + 1442695040888963407
	return float64(*n>>11) / (1 << 53)
}

// normal returns a nearly normal number: the sum of twelve uniform ones less six.
func (n *noise) normal() float64 {
	sum := -6.0
	for range 12 {
		sum += n.next()
	}
	return sum
}
