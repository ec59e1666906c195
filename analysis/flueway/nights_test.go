package flueway_test

import (
	"fmt"
	"math"
	"os"
	"sort"
	"strconv"
	"testing"
	"time"

	"fluewright/analysis/burn"
	"fluewright/analysis/chimney"
	"fluewright/analysis/drive"
	"fluewright/analysis/flueway"
	"fluewright/analysis/frame"
	"fluewright/analysis/gas"
	"fluewright/analysis/gate"
	"fluewright/sensors/bench/nights"
)

func TestScratchNights(t *testing.T) {
	seeds, _ := strconv.Atoi(os.Getenv("SEEDS"))
	base, _ := strconv.Atoi(os.Getenv("BASE"))
	known := os.Getenv("KNOWN") != ""
	only := os.Getenv("ONLY")
	verbose := os.Getenv("V") != ""
	table := map[string]map[string]int{}
	hours := map[string]float64{}
	for _, k := range nights.Kinds() {
		if only != "" && only != k.Name && only != string(k.Hazard) && !(only == "legit" && k.Legitimate()) {
			continue
		}
		table[k.Name] = map[string]int{}
		for s := range seeds {
			n := k.Night(uint64(base + s))
			set := gate.Settings{DraftLow: n.Site.DraftLow, DraftHigh: n.Site.DraftHigh}
			p := gas.StandardAtmosphere(n.Site.Altitude).Pressure
			set.Air = drive.Air{Pressure: p}
			if known {
				set.Set = n.Site.Set
				c := chimney.InsulatedMetal(n.Site.Diameter, .025)
				c.Length, c.Rise, c.Fittings, c.Exposed = n.Site.Height, n.Site.Height, 1.2, .2
				set.Reach = gate.ReachOf(chimney.System{Chimney: c}, p)
			}
			g := gate.New(set)
			var j flueway.Judge
			var tr burn.Tracker
			var row nights.Row
			said := map[string]time.Duration{}
			log := ""
			lg := gate.Unknown
			var lf flueway.Finding
			nextP := 0.0
			minI, minR, minF := 9.0, 0.0, 0.0
			for n.Next(&row) {
				if verbose && os.Getenv("E") != "" && row.At.Minutes() > nextP {
					nextP += 20
					gf := g.Step(gate.Inputs{At: row.At, Values: frame.Values(row.Values), Phase: tr.Phase})
					hot, _ := g.Course().Now.Hottest()
					log += fmt.Sprintf("\n    %.0fm %v flue%.0f p%.1f e%.2f(%.2f %.2f) s%.1f hot b%.1f p%.1f h%.1f cand %v", row.At.Minutes(), tr.Phase, row.Values[2], row.Values[7], gf.Now.Value, gf.Now.Low, gf.Now.High, gf.Now.Slope, hot.Drive, hot.Draft, hot.Reach(), gf.Candidate)
				}
				v := frame.Values(row.Values)
				tr.Step(row.At, burn.Inputs{Flue: v[frame.Flue], Chamber: v[frame.Chamber], Room: v[frame.Room], Draft: v[frame.Draft]})
				gf := g.Step(gate.Inputs{At: row.At, Values: v, Phase: tr.Phase})
				if w := gf.Swing; w.Frequency > 0 && w.RMS > 0.8 && os.Getenv("SW") != "" {
					if w.Irregular < minI {
						minI, minR, minF = w.Irregular, w.RMS, w.Frequency
					}
				}
				m, full := g.Minute()
				f := j.Step(flueway.Inputs{At: row.At, Phase: tr.Phase, Minute: m, Full: full, Course: g.Course(), Gate: gf})
				if gf.State != lg {
					lg = gf.State
					log += fmt.Sprintf(" [%.0fm %v e%.2f p%.1f s%.1f]", row.At.Minutes(), gf.State, gf.Exponent.Value, gf.Exponent.Draft, gf.Exponent.Slope)
					if _, ok := said[gf.State.String()]; !ok && gf.State != gate.Unknown {
						said[gf.State.String()] = row.At
					}
				}
				if f.Restricted != lf.Restricted || f.Sudden != lf.Sudden {
					log += fmt.Sprintf(" {%.0fm r%v s%v loss%.2f ratio%.2f pa%.1f}", row.At.Minutes(), f.Restricted, f.Sudden, f.Now.Loss, f.Change.Ratio, f.Change.Pascals)
					if f.Restricted {
						name := "RESTRICTED"
						if f.Sudden {
							name = "SUDDEN"
						}
						if _, ok := said[name]; !ok {
							said[name] = row.At
						}
					}
				}
				lf = f
			}
			if os.Getenv("SW") != "" {
				fmt.Printf("SW %s %d per%v irr%.2f rms%.2f f%.2f\n", k.Name, base+s, n.Site.Period, minI, minR, minF)
			}
			hours[k.Name] += n.Truth.Burning.Hours()
			for s := range said {
				table[k.Name][s]++
			}
			if len(said) == 0 {
				table[k.Name]["-"]++
			}
			if verbose {
				h := ""
				for _, z := range n.Truth.Hazards {
					h += fmt.Sprintf("%v@%.0f-%.0fm ", z.What, z.From.Minutes(), z.To.Minutes())
				}
				fmt.Printf("%s %d H%.1f D%.2f set%.1f band%.1f-%.1f outd%v per%v reach%.1f lit@%.0f %s:%s\n", k.Name, base+s, n.Site.Height, n.Site.Diameter, n.Site.Set, n.Site.DraftLow, n.Site.DraftHigh, n.Site.Fitted[6], n.Site.Period, set.Reach, n.Truth.Loads[0].At.Minutes(), h, log)
			}
		}
	}
	for _, k := range nights.Kinds() {
		if m, ok := table[k.Name]; ok {
			var ks []string
			for s, n := range m {
				ks = append(ks, fmt.Sprintf("%s %d", s, n))
			}
			sort.Strings(ks)
			fmt.Printf("%-26s %5.0f h: %v\n", k.Name, hours[k.Name], ks)
		}
	}
	_ = math.NaN
}
