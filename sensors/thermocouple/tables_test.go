package thermocouple

import (
	"encoding/csv"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"testing"
)

// table reads a CSV of testdata/its90: one map a row, by column name.
func table(t testing.TB, name string) []map[string]string {
	t.Helper()
	f, err := os.Open(filepath.Join("..", "..", "testdata", "its90", name))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	lines, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	rows := make([]map[string]string, len(lines)-1)
	for i, line := range lines[1:] {
		rows[i] = make(map[string]string, len(line))
		for j, cell := range line {
			rows[i][lines[0][j]] = cell
		}
	}
	return rows
}

func number(t testing.TB, cell string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(cell, 64)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

func typeOf(t testing.TB, cell string) Type {
	t.Helper()
	tc, err := ParseType(cell)
	if err != nil {
		t.Fatal(err)
	}
	return tc
}

// near fails unless got is within tolerance of want; NaN never is.
func near(t testing.TB, what string, got, want, tolerance float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance) {
		t.Errorf("%s: got %.9f, want %.9f ± %g", what, got, want, tolerance)
	}
}

// voltage and temperature are the functions where the range is not in question.
func voltage(t testing.TB, tc Type, celsius float64) float64 {
	t.Helper()
	mV, err := tc.Voltage(celsius)
	if err != nil {
		t.Fatal(err)
	}
	return mV
}

func temperature(t testing.TB, tc Type, mV float64) float64 {
	t.Helper()
	celsius, err := tc.Temperature(mV)
	if err != nil {
		t.Fatal(err)
	}
	return celsius
}
