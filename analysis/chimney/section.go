package chimney

import (
	"fmt"
	"math"

	"fluewright/analysis/portable"
)

// Heat transfer from the outer wall, W/(m² K): EN 13384-1 (from memory).
const (
	filmInside  = 8.0
	filmOutside = 23.0
)

// Section is a round stretch of flue with one wall. The zero value is no section.
type Section struct {
	Length       float64 // m, along the gas path
	Rise         float64 // m, of its end above its beginning
	Diameter     float64 // m, inner (hydraulic)
	Outer        float64 // m, outer diameter of the wall
	Roughness    float64 // m, of the inner wall
	Fittings     float64 // sum of the loss coefficients ζ of bends, tees and cowl
	Resistance   float64 // m² K/W, of the wall, referred to the inner surface
	HeatCapacity float64 // J/(m K), of a metre of the wall that warms up with the gas
	Exposed      float64 // share of its length in the open air, 0 to 1; the rest is indoors
}

// Validate says what is impossible about the section.
func (s *Section) Validate() error {
	for _, v := range []struct {
		what          string
		value, lo, hi float64
	}{
		{"length", s.Length, 0, 200},
		{"rise", s.Rise, -s.Length, s.Length},
		{"inner diameter", s.Diameter, 0.03, 3},
		{"outer diameter", s.Outer, s.Diameter, 6},
		{"roughness", s.Roughness, 0, 0.1 * s.Diameter},
		{"fittings", s.Fittings, 0, 100},
		{"thermal resistance", s.Resistance, 0, 10},
		{"heat capacity", s.HeatCapacity, 0, 1e7},
		{"exposed share", s.Exposed, 0, 1},
	} {
		if !(v.value >= v.lo && v.value <= v.hi) {
			return fmt.Errorf("%s %.4g is not within %.4g to %.4g", v.what, v.value, v.lo, v.hi)
		}
	}
	return nil
}

// area returns the inner cross-section, m².
func (s *Section) area() float64 { return math.Pi / 4 * s.Diameter * s.Diameter }

// surface returns the inner wall's area, m².
func (s *Section) surface() float64 { return float64(math.Pi * s.Diameter * s.Length) }

// outside returns the resistance from the inner surface through the wall to the air
// around it, m² K/W, referred to the inner surface: 1/Λ + D/(Do α).
func (s *Section) outside(exposed float64) float64 {
	film := filmInside + float64((filmOutside-filmInside)*exposed)
	return s.Resistance + s.Diameter/float64(s.Outer*film)
}

// around returns the temperature of the surroundings, weighted by length.
func (s *Section) around(c *Conditions) float64 {
	return c.Room + float64((c.Outdoor-c.Room)*s.Exposed)
}

// CylinderResistance returns the thermal resistance of a cylindrical wall of the
// conductivity W/(m K), referred to its inner surface, m² K/W: D ln(Do/D)/(2 λ), Fourier's
// law, exact.
func CylinderResistance(inner, outer, conductivity float64) float64 {
	return inner * portable.Log(outer/inner) / (2 * conductivity)
}

// Roughness of inner walls in m: EN 13384-1 (from memory).
const (
	RoughWeldedSteel = 0.001
	RoughClay        = 0.0015
	RoughSteel       = 0.002
	RoughConcrete    = 0.003
	RoughBrick       = 0.005
)

// Properties of wall materials. Steel: CIBSE Guide A, Table 3.36 (stainless, 20 % Ni:
// 16 W/(m K), 8000 kg/m³, 480 J/(kg K)); its resistance is nothing beside the films.
// Mineral wool: installation manuals give at most 0.045 W/(m K) at 100 °C and 0.12 at
// 400 °C; between, at a chimney's mean wall, 0.07. Brick: common practice, no source:
// 0.7 W/(m K), 1700 kg/m³, 840 J/(kg K).
const (
	steelThickness     = 0.0006
	steelDensity       = 8000.0
	steelHeat          = 480.0
	woolConductivity   = 0.07
	brickConductivity  = 0.7
	brickVolumetricCap = 1700.0 * 840.0
)

// SingleWall returns a stretch of bare steel pipe: the wall resists nothing, only the
// films do.
func SingleWall(diameter float64) Section {
	return Section{
		Diameter: diameter, Outer: diameter + 2*steelThickness, Roughness: RoughSteel,
		HeatCapacity: math.Pi * diameter * steelThickness * steelDensity * steelHeat,
	}
}

// InsulatedMetal returns a stretch of double-wall steel chimney with the given thickness
// of mineral wool in m (25 to 50 mm are usual). Only the liner warms up with the gas.
func InsulatedMetal(diameter, wool float64) Section {
	outer := diameter + 2*wool
	return Section{
		Diameter: diameter, Outer: outer, Roughness: RoughWeldedSteel,
		Resistance:   CylinderResistance(diameter, outer, woolConductivity),
		HeatCapacity: math.Pi * diameter * steelThickness * steelDensity * steelHeat,
	}
}

// Masonry returns a stretch of brick chimney of the given wall thickness in m (0.115 is
// half a brick), as a cylinder. Its whole wall warms up with the gas, which makes the
// start slower than that of its inner face.
func Masonry(diameter, wall float64) Section {
	outer := diameter + 2*wall
	return Section{
		Diameter: diameter, Outer: outer, Roughness: RoughBrick,
		Resistance:   CylinderResistance(diameter, outer, brickConductivity),
		HeatCapacity: math.Pi / 4 * (float64(outer*outer) - float64(diameter*diameter)) * brickVolumetricCap,
	}
}
