package installer

import (
	"flag"
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"fluewright/analysis/commissioning"
	"fluewright/analysis/setting"
	"fluewright/sensors/bench/furnace"
)

var (
	houses = flag.Int("houses", 200, "how many random houses the setting of the regulator is proved on")
	first  = flag.Uint64("first", 0, "seed of the first of them")
)

// spare is how far the specified draft lies within what the regulator can hold, Pa: the
// fire burns on while it is set, and its range moves.
const spare = 1.0

// random returns a house with a steady fire and a procedure that stands at the setting of
// its regulator: any chimney, altitude, weather, wind, wood, scale and sensor, such that
// some mark gives the specified draft.
func random(t *testing.T, seed uint64) (*Player, float64) {
	t.Helper()
	r := rand.New(rand.NewPCG(seed, 0x736574))
	in := func(lo, hi float64) float64 { return lo + (hi-lo)*r.Float64() }
	for {
		cfg := furnace.Config{
			Outdoor: in(-20, 10), Ambient: in(80e3, 103e3), Demand: in(0.5, 1),
			ChimneyHeight: in(4.5, 12), ChimneyDiameter: in(0.13, 0.2),
		}
		reg := Regulator{Low: 1, High: 7, AtLow: in(3, 6), AtHigh: in(15, 24), Bow: in(-1, 1)}
		noise := Noise{Draft: in(0.02, 0.2), Temperature: in(0.1, 1), DraftStep: 0.05, TemperatureStep: 0.25}
		want := in(8, 15)
		site := commissioning.Site{
			DraftLow: want - 2, DraftHigh: want + 2, Construction: commissioning.Insulated,
			Height: cfg.ChimneyHeight, Diameter: cfg.ChimneyDiameter, AboveRoof: 1, AboveNear: 1,
			Altitude: 200, Outdoor: 0,
			Regulator: commissioning.Regulator{Fitted: true, Scale: setting.Scale{Low: 1, High: 7}, Mark: math.Floor(in(1, 8))},
		}
		h := NewHouse(cfg, reg, noise, site.Regulator.Mark, seed)
		h.Outdoor, h.Ambient = r.Float64() < 0.5, r.Float64() < 0.5
		h.SetWind(in(0, 6))
		h.Light(in(12, 18), in(0.14, 0.22), 1)
		h.Advance(25 * time.Minute)
		if lowest, highest := h.Range(); want < lowest+spare || want > highest-spare {
			continue // that the chimney cannot give it is another test's affair
		}
		p := &Player{House: h, State: commissioning.New(), Site: site}
		give := func(e commissioning.Entry) {
			e.Step, e.Task = p.State.Now, p.State.Task
			if err := p.State.Answer(e); err != nil {
				t.Fatal(err)
			}
		}
		give(commissioning.Entry{Kind: commissioning.Give, Site: &p.Site})
		for p.State.Now != commissioning.Setting {
			give(commissioning.Entry{Kind: commissioning.Skip, Reason: "only the regulator is set"})
		}
		return p, want
	}
}

// The mark that is recommended is within half a mark of the truth in 95 % of houses, and
// the interval of 90 % holds the truth in 85 to 95 %.
//
// The truth is found by trying, on the same fire in the wind that blows; how far a calm
// evening would be from it is logged.
func TestTheRightMarkIsFound(t *testing.T) {
	n := *houses
	if testing.Short() {
		n = 20
	}
	var right, covered, calm, gusty, unsure int
	var width, took float64
	for seed := *first; seed < *first+uint64(n); seed++ {
		p, want := random(t, seed)
		began := p.House.at
		if err := p.Until(commissioning.VerifyLow, 70*time.Minute); err != nil {
			unsure++
			t.Logf("house %d: %v", seed, err)
			continue
		}
		took += (p.House.at - began).Minutes()
		f, _ := p.State.Fit()
		truth, ok := p.House.Truth(want, false)
		if !ok {
			// The fire has changed meanwhile so that no mark gives it any more.
			unsure++
			t.Logf("house %d: no mark is right any more; fitted %.2f", seed, f.Mark)
			continue
		}
		still, ok := p.House.Truth(want, true)
		if ok && math.Abs(f.Mark-still) <= 0.5 {
			calm++
		} else if _, told := p.State.Results[commissioning.Setting].Find("gusty"); told {
			gusty++
		}
		width += f.High - f.Low
		if math.Abs(f.Mark-truth) <= 0.5 {
			right++
		} else {
			t.Logf("house %d: fitted %.2f [%.2f %.2f], truth %.2f, calm %.2f; %+v", seed, f.Mark, f.Low, f.High, truth, still, p.State.Numbers.Readings)
		}
		if f.Low <= truth && truth <= f.High {
			covered++
		}
	}
	t.Logf("of %d houses: %d within half a mark, %d within half a mark of a calm evening's (%d of the others with a caution that it was gusty), %d covered, %d without an answer; mean width %.2f marks, mean time %.0f min",
		n, right, calm, gusty, covered, unsure, width/float64(n-unsure), took/float64(n-unsure))
	if testing.Short() {
		if right < n*8/10 {
			t.Errorf("only %d of %d houses have the right mark", right, n)
		}
		return
	}
	if right < n*95/100 {
		t.Errorf("only %d of %d houses have the right mark", right, n)
	}
	if c := float64(covered) / float64(n-unsure); c < 0.85 || c > 0.95 {
		t.Errorf("the interval of 90 %% covers %.1f %%", 100*c)
	}
}
