package nights

import (
	"bytes"
	"encoding/csv"
	"math"
	"testing"
	"time"
)

// kind finds a kind by its name.
func kind(t *testing.T, name string) Kind {
	t.Helper()
	for _, k := range Kinds() {
		if k.Name == name {
			return k
		}
	}
	t.Fatalf("no kind %q", name)
	return Kind{}
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
		if k.Hazard == OverFire && k.Cause == "" {
			t.Errorf("%s: an over-fire without its cause", k.Name)
		}
	}
	if legitimate < 15 || hazards < 30 {
		t.Errorf("%d legitimate kinds and %d hazards are too few", legitimate, hazards)
	}
}

func TestSameSeedSameNight(t *testing.T) {
	if testing.Short() {
		t.Skip("plays whole nights, and the same ones on every machine")
	}
	for _, name := range []string{"storm", "chimney fire, violent"} {
		k := kind(t, name)
		a, b, c := k.Night(3), k.Night(3), k.Night(4)
		var ra, rb, rc Row
		differs := false
		for a.Next(&ra) {
			if !b.Next(&rb) || ra.At != rb.At {
				t.Fatalf("%s: %v is followed by %v in one run and %v in the other", name, a.now(), ra.At, rb.At)
			}
			for ch := range ra.Values {
				if !same(ra.Values[ch], rb.Values[ch]) {
					t.Fatalf("%s at %v: %s is %v or %v", name, ra.At, ChannelNames[ch], ra.Values[ch], rb.Values[ch])
				}
			}
			differs = differs || !c.Next(&rc) || rc != ra
		}
		if !differs {
			t.Errorf("%s: another seed gives the same night", name)
		}
	}
}

// What the fire sets free is found again in masses, wood, stack, warm air and basement.
func TestEnergyIsNeitherMadeNorLost(t *testing.T) {
	if testing.Short() {
		t.Skip("plays whole nights, and the same ones on every machine")
	}
	for _, name := range []string{"two loads", "low fire", "fine fuel, strong", "power cut", "downdraft"} {
		n := kind(t, name).Night(5)
		var row Row
		for n.Next(&row) {
		}
		if n.Truth.Released < 20e6 {
			t.Errorf("%s: only %.1f MJ were set free", name, n.Truth.Released/1e6)
		}
		if math.Abs(n.Truth.Balance) > 0.02 {
			t.Errorf("%s: %.1f %% of the heat is not found again", name, 100*n.Truth.Balance)
		}
	}
}

// Each kind does what its name says; of each sort one is played.
func TestKindsKeepTheirPromise(t *testing.T) {
	if testing.Short() {
		t.Skip("plays whole nights, and the same ones on every machine")
	}
	for _, c := range []struct {
		name string
		ok   func(*Night) bool
	}{
		{"hot reload", func(n *Night) bool { return len(n.Truth.Loads) >= 3 }},
		{"storm", func(n *Night) bool { return n.Truth.Burning > time.Hour }},
		{"doors and pokes", func(n *Night) bool { return len(n.Truth.Doors) >= 7 }},
		{"slow with gaps", func(n *Night) bool { return len(n.gaps) > 0 }},
		{"ash door ajar, strong", func(n *Night) bool { return crossed(n, Flue) || crossed(n, Chamber) }},
		{"dry fuel, strong", func(n *Night) bool { return crossed(n, Flue) || crossed(n, Chamber) }},
		{"chimney fire, violent", func(n *Night) bool { return n.Truth.Peaks[Flue] > 500 }},
		{"downdraft", func(n *Night) bool { return spilled(n) > time.Minute }},
		{"cap blocked over coals", func(n *Night) bool { return spilled(n) > time.Minute }},
		{"cold chimney reversed", func(n *Night) bool { return spilled(n) > time.Minute }},
		{"regulator stuck open", func(n *Night) bool { return n.w.gate.open > 0.5 }},
		{"power cut", func(n *Night) bool { return n.Truth.Peaks[Plenum] > 65 }},
		{"frozen value", func(n *Night) bool { return true }},
		{"zero drifts cold", func(n *Night) bool { return n.Truth.Burning == 0 }},
	} {
		k := kind(t, c.name)
		n := k.Night(2)
		var row Row
		for n.Next(&row) {
		}
		if n.Redrawn == redraws {
			t.Errorf("%s: no draw keeps the promise", c.name)
		}
		found := k.Legitimate()
		for _, h := range n.Truth.Hazards {
			found = found || h.What == k.Hazard && h.To > h.From
		}
		if !found || k.Legitimate() && len(n.Truth.Hazards) > 0 {
			t.Errorf("%s: hazards %v, promised %q", c.name, n.Truth.Hazards, k.Hazard)
		}
		if (k.Legitimate() || k.sensor) && len(n.Truth.Crossings) > 0 {
			t.Errorf("%s: a limit was passed: %v", c.name, n.Truth.Crossings)
		}
		if k.Legitimate() && spilled(n) > gust {
			t.Errorf("%s: the draft turned: %v", c.name, n.Truth.Spills)
		}
		if !c.ok(n) {
			t.Errorf("%s: not what it says: peaks %.0f, limits %.0f, spills %v", c.name, n.Truth.Peaks, n.Site.Limits, n.Truth.Spills)
		}
	}
}

func crossed(n *Night, channel int) bool {
	for _, c := range n.Truth.Crossings {
		if c.Channel == channel {
			return true
		}
	}
	return false
}

// spilled is the longest spill.
func spilled(n *Night) (longest time.Duration) {
	for _, s := range n.Truth.Spills {
		longest = max(longest, s.To-s.From)
	}
	return longest
}

func TestCSVIsABurnLog(t *testing.T) {
	if testing.Short() {
		t.Skip("plays whole nights, and the same ones on every machine")
	}
	n := kind(t, "mild day").Night(1)
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
