package commissioning

import (
	"math"

	"fluewright/analysis/chimney"
	"fluewright/analysis/gas"
	"fluewright/analysis/regulator"
)

// Range is a predicted value with an interval of 90 %.
type Range struct {
	Value float64 `json:"value"`
	Low   float64 `json:"low"`
	High  float64 `json:"high"`
}

// Prediction is what physics expects of the chimney before any wood is lit, Pa.
type Prediction struct {
	Cold Range `json:"cold"` // before lighting
	Shut Range `json:"shut"` // hot, with the gate shut or without one
}

// Air is what is known of the weather and the house.
type Air struct {
	Outdoor  float64 // °C
	Measured bool    // Outdoor was read by a sensor
	Room     float64 // °C
	Pressure float64 // Pa, absolute
}

// How far off what is entered or assumed may be, one standard deviation.
const (
	usualFlue      = 230.0 // °C at the collar in a clean burn, practice
	flueSpread     = 40.0  // K
	flowSpread     = 0.25  // of the flue gas
	outdoorRead    = 1.5   // K: a sensor in the sun, or beside a wall
	outdoorEntered = 4.0
	exposedSpread  = 0.25 // of the chimney's length
	modelSpread    = 0.08 // of the draft: the form of the equations
	coldModel      = 0.5  // Pa: still air in a flue is not one temperature
)

// Predict returns what to expect. Flue is the flue gas at the collar in °C where it is
// known; 0: what is usual.
func (s *Site) Predict(air Air, flue float64) Prediction {
	outdoor := outdoorEntered
	if air.Measured {
		outdoor = outdoorRead
	}
	temperature, spread := usualFlue, flueSpread
	if flue > 0 {
		temperature, spread = flue, 10
	}
	base := knobs{outdoor: air.Outdoor, flue: temperature, flow: 1}
	cold := func(k knobs) float64 { site := s.site(air, k); return site.ColdDraft() }
	shut := func(k knobs) float64 { return s.shut(air, k) }
	coldErr := spreadOf(cold, base, knobs{outdoor: outdoor, exposed: exposedSpread})
	shutErr := spreadOf(shut, base, knobs{outdoor: outdoor, flue: spread, flow: flowSpread, exposed: exposedSpread})
	c, h := cold(base), shut(base)
	return Prediction{
		Cold: ranged(c, both(coldErr, coldModel)),
		Shut: ranged(h, both(shutErr, modelSpread*h)),
	}
}

func ranged(v, err float64) Range {
	return Range{v, v - float64(z90*err), v + float64(z90*err)}
}

// knobs are what the prediction is unsure of: values, or their standard deviations.
type knobs struct{ outdoor, flue, flow, exposed float64 }

// spreadOf returns the standard deviation of f from those of its knobs, by differences.
func spreadOf(f func(knobs) float64, at, by knobs) float64 {
	sum := 0.0
	for _, k := range []knobs{{outdoor: by.outdoor}, {flue: by.flue}, {flow: by.flow}, {exposed: by.exposed}} {
		if k == (knobs{}) {
			continue
		}
		up, down := at, at
		up.outdoor, down.outdoor = at.outdoor+k.outdoor, at.outdoor-k.outdoor
		up.flue, down.flue = at.flue+k.flue, at.flue-k.flue
		up.flow, down.flow = at.flow+k.flow, at.flow-k.flow
		up.exposed, down.exposed = at.exposed+k.exposed, at.exposed-k.exposed
		d := (f(up) - f(down)) / 2
		sum += float64(d * d)
	}
	return math.Sqrt(sum)
}

func (s *Site) site(air Air, k knobs) chimney.Site {
	sys := s.System()
	sys.Chimney.Exposed = max(0, min(1, sys.Chimney.Exposed+k.exposed))
	return chimney.Site{System: sys, Method: chimney.Real, Conditions: chimney.Conditions{
		Outdoor: k.outdoor, Room: air.Room, Pressure: air.Pressure, AirConstant: gas.DryAir().Constant(),
	}}
}

// shut returns the draft with the gate shut: the appliance draws its rated flow at the
// specified draft.
func (s *Site) shut(air Air, k knobs) float64 {
	site := s.site(air, k)
	flow, flueGas := s.flow()
	n := regulator.Network{
		Chimney:   &site,
		Appliance: regulator.Appliance{Flow: flow * max(0.2, k.flow), Draft: s.Specified()},
		Gate:      regulator.NewGate(s.Diameter, s.Specified()),
		Room:      air.Room, RoomAir: gas.DryAir(), Pressure: air.Pressure,
	}
	return n.Settle(regulator.StuckShut, flueGas, k.flue).Draft
}

// Thresholds of the warnings. The 3-2-10 rule: NFPA 211 and IRC R1003.9, wording from a
// secondary source; 3 ft above the roof and 2 ft above anything within 10 ft. The others:
// practice.
const (
	aboveRoof     = 0.9144
	aboveNear     = 0.6096
	ductUsual     = 0.1161 // m², 180 sq in
	longConnector = 3.0    // m
	manyElbows    = 2
	leastPitch    = 0.0208 // 1/4 in a foot
	highUp        = 900.0  // m: a tenth of the draft is gone
	wetWood       = 0.25
	dryWood       = 0.10
	strong        = 2.5 // times the specified draft
)

// Warnings returns what the site data make one expect, before any wood is lit.
func (s *Site) Warnings(air Air) []Finding {
	p := s.Predict(air, 0)
	want := s.Specified()
	var all []Finding
	if p.Shut.Low < want {
		all = append(all, found("short", Caution).value(Pascals, p.Shut.Value).interval(p.Shut.Low, p.Shut.High).against(want))
	}
	if p.Shut.Value > float64(strong*want) {
		all = append(all, found("strong", Noted).value(Pascals, p.Shut.Value).interval(p.Shut.Low, p.Shut.High).against(want))
	}
	if s.Outside {
		all = append(all, found("exterior", Caution))
	}
	if s.AboveRoof < aboveRoof-0.005 {
		all = append(all, found("termination-roof", Caution).value(Metres, s.AboveRoof).against(aboveRoof))
	}
	if s.AboveNear < aboveNear-0.005 {
		all = append(all, found("termination-near", Caution).value(Metres, s.AboveNear).against(aboveNear))
	}
	if s.ConnectorLength > longConnector {
		all = append(all, found("connector-long", Caution).value(Metres, s.ConnectorLength).against(longConnector))
	}
	if s.Elbows > manyElbows {
		all = append(all, found("connector-elbows", Caution).value(Count, float64(s.Elbows)).against(manyElbows))
	}
	if s.ConnectorLength > 0 && s.ConnectorRise < float64(leastPitch*s.ConnectorLength) {
		all = append(all, found("connector-flat", Caution).value(Metres, s.ConnectorRise))
	}
	if asked := s.ductAsked(); s.DuctArea > 0 && s.DuctArea < asked-1e-4 {
		all = append(all, found("ducts", Caution).value(SquareMetres, s.DuctArea).against(asked))
	}
	if s.Altitude >= highUp {
		share := air.Pressure / gas.SeaLevel
		all = append(all, found("altitude", Noted).value(Share, share).against(1))
	}
	switch {
	case !s.Regulator.Fitted:
		all = append(all, found("no-regulator", Caution))
	case s.Regulator.OtherRoom:
		all = append(all, found("regulator-room", Caution))
	}
	switch {
	case s.Moisture > wetWood:
		all = append(all, found("wet-wood", Caution).value(Share, s.Moisture).against(wetWood))
	case s.Moisture > 0 && s.Moisture < dryWood:
		all = append(all, found("dry-wood", Caution).value(Share, s.Moisture).against(dryWood))
	}
	return all
}

func (s *Site) ductAsked() float64 {
	if s.DuctAsked > 0 {
		return s.DuctAsked
	}
	return ductUsual
}

// both returns the error of a sum from those of its parts.
func both(a, b float64) float64 { return math.Sqrt(float64(a*a) + float64(b*b)) }
