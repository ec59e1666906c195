package nights

import (
	"bytes"
	"encoding/csv"
	"math"
	"testing"
	"time"
)

// run gives all rows of a night.
func run(n *Night) []Row {
	var rows []Row
	var row Row
	for n.Next(&row) {
		rows = append(rows, row)
	}
	return rows
}

func same(a, b float64) bool { return a == b || math.IsNaN(a) && math.IsNaN(b) }

func TestKindsAreNamedOnce(t *testing.T) {
	seen := map[string]bool{}
	legitimate, hazards := 0, 0
	for _, k := range Kinds() {
		if seen[k.Name] || k.Name == "" || k.About == "" {
			t.Errorf("kind %q: named twice, or says nothing about itself", k.Name)
		}
		seen[k.Name] = true
		if k.Legitimate() {
			legitimate++
		} else {
			hazards++
		}
	}
	if legitimate < 15 || hazards < 20 {
		t.Errorf("%d legitimate kinds and %d hazards are too few", legitimate, hazards)
	}
}

func TestSameSeedSameNight(t *testing.T) {
	for _, k := range Kinds()[:6] {
		a, b, c := run(k.Night(3)), run(k.Night(3)), run(k.Night(4))
		if len(a) != len(b) {
			t.Fatalf("%s: %d and %d rows", k.Name, len(a), len(b))
		}
		for i := range a {
			for ch := range a[i].Values {
				if a[i].At != b[i].At || !same(a[i].Values[ch], b[i].Values[ch]) {
					t.Fatalf("%s: row %d differs: %v, %v", k.Name, i, a[i], b[i])
				}
			}
		}
		if len(a) == len(c) && a[len(a)/2] == c[len(c)/2] {
			t.Errorf("%s: another seed gives the same night", k.Name)
		}
	}
}

func TestCSVIsABurnLog(t *testing.T) {
	n := Kinds()[0].Night(1)
	var b bytes.Buffer
	if err := n.WriteCSV(&b, time.Date(2024, 1, 6, 18, 0, 0, 0, time.UTC)); err != nil {
		t.Fatal(err)
	}
	rows, err := csv.NewReader(&b).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	fitted := 1
	for _, f := range n.Site.Fitted {
		if f {
			fitted++
		}
	}
	if len(rows[0]) != fitted || rows[0][0] != "time" || len(rows) < 10000 {
		t.Errorf("%d columns (%v), %d rows", len(rows[0]), rows[0], len(rows))
	}
}
