// Package printed reads the published and computed tables that the tests of the analysis
// are checked against. Only tests import it.
package printed

import (
	"encoding/csv"
	"io/fs"
	"math"
	"strconv"
	"strings"
	"testing"
)

// Row is one line of a table.
type Row struct {
	t     testing.TB
	where string
	cells map[string]string
}

// Table returns the lines of the CSV file called name; the test ends if it cannot be read.
func Table(t testing.TB, dir fs.FS, name string) []Row {
	t.Helper()
	f, err := dir.Open(name)
	if err != nil {
		t.Fatalf("open table: %v", err)
	}
	defer f.Close()
	lines, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatalf("read table %s: %v", name, err)
	}
	if len(lines) < 2 {
		t.Fatalf("table %s is empty", name)
	}
	rows := make([]Row, 0, len(lines)-1)
	for i, line := range lines[1:] {
		cells := make(map[string]string, len(line))
		for j, cell := range line {
			cells[lines[0][j]] = cell
		}
		rows = append(rows, Row{t: t, where: name + " line " + strconv.Itoa(i+2), cells: cells})
	}
	return rows
}

// String returns where the row stands.
func (r Row) String() string { return r.where }

// Text returns the cell of the column called name.
func (r Row) Text(name string) string {
	r.t.Helper()
	cell, ok := r.cells[name]
	if !ok {
		r.t.Fatalf("%s has no column %q", r.where, name)
	}
	return cell
}

// Number returns the cell of the column called name as a number.
func (r Row) Number(name string) float64 {
	r.t.Helper()
	v, err := strconv.ParseFloat(r.Text(name), 64)
	if err != nil {
		r.t.Fatalf("%s: %v", r.where, err)
	}
	return v
}

// Near fails the test if got lies further from want than tolerance.
func (r Row) Near(what string, got, want, tolerance float64) {
	r.t.Helper()
	if !(math.Abs(got-want) <= tolerance) {
		r.t.Errorf("%s: %s = %v, want %v ± %v", r.where, what, got, want, tolerance)
	}
}

// Checks returns the rows of check_values.csv whose id begins with one of the prefixes.
func Checks(t testing.TB, dir fs.FS, prefixes ...string) map[string]Row {
	t.Helper()
	found := map[string]Row{}
	for _, row := range Table(t, dir, "check_values.csv") {
		for _, p := range prefixes {
			if strings.HasPrefix(row.Text("id"), p) {
				found[row.Text("id")] = row
			}
		}
	}
	if len(found) == 0 {
		t.Fatalf("check_values.csv has no rows for %v", prefixes)
	}
	return found
}
