package flueway_test

import (
	"flag"
	"fmt"
	"maps"
	"slices"
	"strings"
	"testing"

	"fluewright/analysis/burn"
	"fluewright/analysis/chimney"
	"fluewright/analysis/drive"
	"fluewright/analysis/flueway"
	"fluewright/analysis/frame"
	"fluewright/analysis/gas"
	"fluewright/analysis/gate"
	"fluewright/sensors/bench/nights"
)

var (
	many  = flag.Int("nights", 1, "how many nights of each kind to judge")
	first = flag.Uint64("first", 500, "the first seed")
	only  = flag.String("kinds", "", "judge the kinds whose names contain this, all of them")
	known = flag.Bool("known", false, "tell the judges the chimney and the set draft")
)

// usual are the kinds that every run of the tests judges.
var usual = []string{
	"ordinary", "doors and pokes", "storm", "low fire",
	"regulator stuck shut", "regulator set high", "regulator set low", "flue shut suddenly",
}

// Nights of another simulator: nothing may be said of a sound one, and a regulator that is
// held shut or set high is named so. Without -v the table is not shown:
//
//	go test ./analysis/flueway -run Nights -v -nights 8 -kinds ''
func TestNights(t *testing.T) {
	if testing.Short() {
		t.Skip("plays whole nights")
	}
	all := false
	flag.Visit(func(f *flag.Flag) { all = all || f.Name == "kinds" })
	sound, wrong := 0.0, 0
	for _, k := range nights.Kinds() {
		if !all && !slices.Contains(usual, k.Name) || !strings.Contains(k.Name, *only) {
			continue
		}
		counts := map[string]int{}
		hours := 0.0
		for i := range *many {
			n := k.Night(*first + uint64(i))
			said := judged(n)
			hours += n.Truth.Burning.Hours()
			for s := range said {
				counts[s]++
			}
			switch {
			case k.Legitimate():
				for s := range said {
					if s != gate.Holding.String() {
						wrong++
						t.Errorf("%s %d: said %s", k.Name, n.Seed, s)
					}
				}
			case k.Hazard == nights.RegulatorShut && !said[gate.StuckShut.String()],
				k.Hazard == nights.RegulatorHigh && !said[gate.SetHigh.String()] && !said[gate.StuckShut.String()]:
				t.Logf("%s %d: not named", k.Name, n.Seed)
			}
		}
		if k.Legitimate() {
			sound += hours
		}
		if h := k.Hazard; h == nights.RegulatorShut && counts[gate.StuckShut.String()] == 0 {
			t.Errorf("%s: never named", k.Name)
		}
		var list []string
		for _, s := range slices.Sorted(maps.Keys(counts)) {
			list = append(list, fmt.Sprintf("%s %d", s, counts[s]))
		}
		t.Logf("%-26s %3d nights %5.0f h: %s", k.Name, *many, hours, strings.Join(list, ", "))
	}
	t.Logf("sound nights: %d false findings in %.0f h of burning", wrong, sound)
}

// judged plays a night and returns all that was said in it.
func judged(n *nights.Night) map[string]bool {
	pressure := gas.StandardAtmosphere(n.Site.Altitude).Pressure
	s := gate.Settings{DraftLow: n.Site.DraftLow, DraftHigh: n.Site.DraftHigh, Air: drive.Air{Pressure: pressure}}
	if *known {
		c := chimney.InsulatedMetal(n.Site.Diameter, 0.025)
		c.Length, c.Rise, c.Fittings, c.Exposed = n.Site.Height, n.Site.Height, 1.2, 0.2
		s.Set, s.Reach = n.Site.Set, gate.ReachOf(chimney.System{Chimney: c}, pressure)
	}
	g := gate.New(s)
	var j flueway.Judge
	var tracker burn.Tracker
	var row nights.Row
	said := map[string]bool{}
	for n.Next(&row) {
		v := frame.Values(row.Values)
		tracker.Step(burn.Inputs{At: row.At, Values: v})
		gf := g.Step(gate.Inputs{At: row.At, Values: v, Phase: tracker.Phase})
		m, full := g.Minute()
		f := j.Step(flueway.Inputs{At: row.At, Phase: tracker.Phase, Minute: m, Full: full, Course: g.Course(), Gate: gf})
		if gf.State != gate.Unknown {
			said[gf.State.String()] = true
		}
		switch {
		case f.Sudden:
			said["flue lost at once"] = true
		case f.Restricted:
			said["flue lost slowly"] = true
		}
	}
	return said
}
