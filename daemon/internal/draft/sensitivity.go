package draft

import (
	"cmp"
	"slices"

	"fluewright/analysis/chimney"
	"fluewright/analysis/regulator"
	"fluewright/daemon/internal/units"
)

// Change is one thing that could be done to the chimney, and what it would give with the
// nominal flow at the nominal flue temperature, no regulator taking part.
type Change struct {
	Code       string  `json:"code"`
	Draft      float64 `json:"draft_pascals"`
	Gain       float64 `json:"gain_pascals"`
	OutletWall float64 `json:"outlet_wall_celsius"`
	WallGain   float64 `json:"wall_gain_kelvin"`
}

// The steps of the changes.
const (
	taller      = 3 * units.MetresPerFoot
	step        = units.MetresPerFoot / 12 // between stock diameters
	moreWool    = 0.025
	oneElbow    = 0.3 // ζ of a bend, common practice
	leastHeight = 1.0
)

// candidates are the changes, each as what it makes of the input; it returns false if
// there is nothing to change.
var candidates = []struct {
	code  string
	apply func(*Input) bool
}{
	{"taller", func(in *Input) bool { in.Chimney.Height += taller; return true }},
	{"shorter", func(in *Input) bool { in.Chimney.Height -= taller; return in.Chimney.Height >= leastHeight }},
	{"insulate", func(in *Input) bool {
		in.Chimney.Wall = moreWool
		changed := in.Chimney.Construction != Insulated
		in.Chimney.Construction = Insulated
		return changed
	}},
	{"more-insulation", func(in *Input) bool {
		in.Chimney.Wall = orElse(in.Chimney.Wall, moreWool) + moreWool
		return in.Chimney.Construction == Insulated
	}},
	{"indoors", func(in *Input) bool {
		changed := in.Chimney.Exposed > 0.2
		in.Chimney.Exposed = min(in.Chimney.Exposed, 0.2)
		return changed
	}},
	{"wider", func(in *Input) bool {
		in.Connector.Diameter = in.connectorDiameter() // the connector stays what it is
		in.Chimney.Diameter += step
		return true
	}},
	{"narrower", func(in *Input) bool {
		in.Connector.Diameter = in.connectorDiameter()
		in.Chimney.Diameter -= step
		return in.Chimney.Diameter >= 0.1
	}},
	{"shorter-connector", func(in *Input) bool {
		// Half the run; what it rises it keeps as far as it can.
		in.Connector.Length /= 2
		in.Connector.Rise = max(min(in.Connector.Rise, in.Connector.Length), -in.Connector.Length)
		return in.Connector.Length > 0.2
	}},
	{"straighter-connector", func(in *Input) bool {
		in.Connector.Fittings -= oneElbow
		return in.Connector.Length > 0 && in.Connector.Fittings >= 0
	}},
}

// changeTexts say what each code means, with the figures of its step.
var changeTexts = map[string]func(u units.System, in Input) string{
	"taller":               func(u units.System, _ Input) string { return u.Length(taller) + " taller" },
	"shorter":              func(u units.System, _ Input) string { return u.Length(taller) + " shorter" },
	"insulate":             func(units.System, Input) string { return "insulated metal instead" },
	"more-insulation":      func(u units.System, _ Input) string { return width(u, moreWool) + " more insulation" },
	"indoors":              func(units.System, Input) string { return "inside the house instead" },
	"wider":                func(u units.System, in Input) string { return width(u, in.Chimney.Diameter+step) + " wide" },
	"narrower":             func(u units.System, in Input) string { return width(u, in.Chimney.Diameter-step) + " wide" },
	"shorter-connector":    func(units.System, Input) string { return "connector half as long" },
	"straighter-connector": func(units.System, Input) string { return "one elbow less" },
}

// sensitivity returns what each possible change would give, best for the draft first.
func sensitivity(in Input) []Change {
	of := func(in Input) chimney.Solution {
		q := newQuestion(in)
		return q.site.Solve(q.stream)
	}
	base := of(in)
	var all []Change
	for _, c := range candidates {
		changed := in
		if !c.apply(&changed) || changed.Validate() != nil {
			continue
		}
		sol := of(changed)
		all = append(all, Change{
			Code: c.code, Draft: sol.Draft, Gain: sol.Draft - base.Draft,
			OutletWall: sol.OutletWall, WallGain: sol.OutletWall - base.OutletWall,
		})
	}
	slices.SortStableFunc(all, func(a, b Change) int { return cmp.Compare(b.Gain, a.Gain) })
	return all
}

// Curve is the draft over the flue temperature at one outdoor temperature, the fire's
// flow following the draft.
type Curve struct {
	Outdoor float64 `json:"outdoor_celsius"`
	Points  []Point `json:"points"`
}

// Point is one flue temperature. Regulated is nil without a regulator.
type Point struct {
	Flue        float64  `json:"flue_celsius"`
	Unregulated float64  `json:"draft_without_regulator_pascals"`
	Regulated   *float64 `json:"draft_with_regulator_pascals,omitempty"`
}

// otherWeather is how far the other two curves lie from the weather asked about, K.
const otherWeather = 15.0

// curves returns the three curves, warmest weather first.
func curves(in Input) []Curve {
	var all []Curve
	for _, shift := range []float64{otherWeather, 0, -otherWeather} {
		weather := in
		weather.Conditions.Outdoor += shift
		q := newQuestion(weather)
		n := q.network()
		c := Curve{Outdoor: weather.Conditions.Outdoor}
		for t := coolest; t <= 500; t += 20 {
			p := Point{Flue: t, Unregulated: n.Settle(regulator.StuckShut, q.stream.Gas, t).Draft}
			if in.Regulator.Set > 0 {
				d := n.Settle(regulator.Working, q.stream.Gas, t).Draft
				p.Regulated = &d
			}
			c.Points = append(c.Points, p)
		}
		all = append(all, c)
	}
	return all
}
