package config

import (
	"cmp"

	"fluewright/analysis"
	"fluewright/analysis/chimney"
	"fluewright/daemon/internal/units"
)

// What is taken for a chimney of which only the height is known: common practice, no
// source. The calculator behind "fluewright draft" has the same.
const (
	usualDiameter   = "6 in"
	insulation      = 0.025 // m of mineral wool
	brick           = 0.115 // m, half a brick
	chimneyFittings = 1.2   // ζ of tee, bends and cowl
	pipeFittings    = 0.6   // ζ of the connector's bends
	exposedInside   = 0.2   // share of a chimney within the house that is in the open air
	exposedOutside  = 0.9
)

// walls are the constructions of a chimney.
var walls = map[string]func(diameter float64) chimney.Section{
	"insulated":   func(d float64) chimney.Section { return chimney.InsulatedMetal(d, insulation) },
	"masonry":     func(d float64) chimney.Section { return chimney.Masonry(d, brick) },
	"single-wall": chimney.SingleWall,
}

// chimneyOf reads what is known of the chimney; without its height, nothing is.
func chimneyOf(t *table) chimney.System {
	height := quantity(t, "height", units.ParseLength, span{"", "5 ft", "100 ft"})
	diameter := quantity(t, "diameter", units.ParseLength, span{usualDiameter, "3 in", "24 in"})
	construction := t.choice("construction", "insulated", []string{"insulated", "masonry", "single-wall"})
	place := t.choice("place", "inside", []string{"inside", "outside"})
	length := quantity(t, "connector-length", units.ParseLength, span{"5 ft", "0 ft", "50 ft"})
	rise := quantity(t, "connector-rise", units.ParseLength, span{"2 ft", "0 ft", "50 ft"})
	pipe := quantity(t, "connector-diameter", units.ParseLength, span{"", "3 in", "24 in"})
	t.done()
	if length.ok() && rise.ok() && rise.value > length.value && height.line > 0 {
		t.at(max(length.line, rise.line), "chimney.connector-rise is %s and connector-length %s; a pipe does not rise by more than its length",
			units.US.Length(rise.value), units.US.Length(length.value))
	}
	if height.line == 0 {
		line := cmp.Or(diameter.line, construction.line, place.line, length.line, rise.line, pipe.line)
		if line > 0 {
			t.at(line, "chimney.height is missing; the rest of the chimney says nothing without it")
		}
		return chimney.System{}
	}
	var s chimney.System
	s.Chimney = walls[construction.value](diameter.value)
	s.Chimney.Length, s.Chimney.Rise = height.value, height.value
	s.Chimney.Fittings, s.Chimney.Exposed = chimneyFittings, exposedInside
	if place.value == "outside" {
		s.Chimney.Exposed = exposedOutside
	}
	if length.value > 0 {
		s.Connector = chimney.SingleWall(cmp.Or(pipe.value, diameter.value))
		s.Connector.Length, s.Connector.Rise, s.Connector.Fittings = length.value, rise.value, pipeFittings
	}
	return s
}

// regulator reads what is known of the barometric regulator. Makers' settings are 0.02 to
// 0.08 inH2O; the range is wider, to catch a decimal point that slipped.
func regulator(t *table) analysis.Regulator {
	fitted := t.choice("fitted", "yes", []string{"yes", "no"})
	set := quantity(t, "set-draft", units.ParsePressure, span{"", "0.01 inH2O", "0.25 inH2O"})
	diameter := quantity(t, "diameter", units.ParseLength, span{"", "3 in", "24 in"})
	t.done()
	if fitted.value == "no" {
		if line := cmp.Or(set.line, diameter.line); line > 0 {
			t.at(line, "regulator.fitted is \"no\"; a regulator that is not there has no set-draft and no diameter")
		}
	}
	return analysis.Regulator{Unfitted: fitted.value == "no", Set: set.value, Diameter: diameter.value}
}
