package panel

import (
	"math"
	"slices"
	"strconv"
	"strings"

	"fluewright/daemon/internal/units"
)

// scale maps the values of one panel, SI, to pixels, with ticks where the reader's units
// are round.
type scale struct {
	lo, hi      float64 // SI
	top, bottom float64 // px
	factor      float64 // shown = SI*factor + offset
	offset      float64
}

func (s *scale) at(v float64) float64 {
	return s.bottom - float64((v-s.lo)/(s.hi-s.lo)*(s.bottom-s.top))
}

// inside keeps a height within the plot.
func (s *scale) inside(y float64) float64 { return min(max(y, s.top), s.bottom) }

// conversion returns how a quantity is shown.
func conversion(q Quantity, u units.System) (factor, offset float64) {
	switch {
	case q == Temperature && u == units.SI:
		return 1, 0
	case q == Temperature:
		return 1.8, 32
	case q == Absolute && u == units.SI:
		return 0.01, 0
	case q == Absolute:
		return 1 / units.PascalsPerInHg, 0
	case u == units.SI:
		return 1, 0
	default:
		return 1 / units.PascalsPerInH2O, 0
	}
}

// write gives a value in words, and its number and unit apart.
func write(q Quantity, u units.System, v float64) (number, unit string) {
	text := ""
	switch q {
	case Temperature:
		text = u.Temperature(v)
	case Absolute:
		text = u.AbsolutePressure(v)
	default:
		text = u.Pressure(v)
	}
	number, unit, _ = strings.Cut(text, " ")
	return number, unit
}

// possible is what a panel makes room for: beyond, no furnace and no weather goes.
func possible(q Quantity, v float64) bool {
	switch q {
	case Temperature:
		return v >= -100 && v <= 2500
	case Absolute:
		return v >= 20e3 && v <= 120e3
	default:
		return math.Abs(v) <= 5000
	}
}

// least is the smallest range that a panel shows, SI: noise is not to look like weather.
func least(q Quantity) float64 {
	switch q {
	case Temperature:
		return 20
	case Absolute:
		return 1000
	default:
		return 5
	}
}

// A scale follows the bulk of the readings: the outermost hundredth on either side may lie
// outside of it if it would cost more than this share of the height.
const (
	outermost = 0.01
	dear      = 2.0
)

// newScale makes room for a panel's readings, limits, band and forecasts.
func newScale(p *Panel, u units.System, columns [][]Column) scale {
	var lows, highs []float64
	for _, trace := range columns {
		for i := range trace {
			if c := &trace[i]; !c.empty() && possible(p.Quantity, c.Min) && possible(p.Quantity, c.Max) {
				lows, highs = append(lows, c.Min), append(highs, c.Max)
			}
		}
	}
	slices.Sort(lows)
	slices.Sort(highs)
	s := scale{lo: math.Inf(1), hi: math.Inf(-1)}
	s.factor, s.offset = conversion(p.Quantity, u)
	hold := func(v float64) {
		if possible(p.Quantity, v) {
			s.lo, s.hi = min(s.lo, v), max(s.hi, v)
		}
	}
	if n := len(lows); n > 0 {
		skip := int(outermost * float64(n))
		hold(lows[skip])
		hold(highs[n-1-skip])
	}
	for _, l := range p.Limits {
		hold(l.Value)
	}
	if p.Band != nil {
		hold(p.Band.Low)
		hold(p.Band.High)
	}
	for _, t := range p.Traces {
		for _, f := range t.Forecasts {
			for _, point := range f {
				hold(point.Value)
			}
		}
	}
	if p.Quantity == Pressure {
		hold(0) // a draft that has turned is below it
	}
	if n := len(lows); n > 0 {
		whole := max(s.hi, highs[n-1]) - min(s.lo, lows[0])
		if whole <= dear*max(s.hi-s.lo, least(p.Quantity)) {
			hold(lows[0])
			hold(highs[n-1])
		}
	}
	if s.lo > s.hi { // nothing at all
		s.lo, s.hi = 0, least(p.Quantity)
		if p.Quantity == Absolute {
			s.lo, s.hi = 95e3, 105e3
		}
	}
	if short := least(p.Quantity) - (s.hi - s.lo); short > 0 {
		s.lo, s.hi = s.lo-short/2, s.hi+short/2
	}
	below, above := 0.06, 0.06
	if len(p.Limits) > 0 {
		above = 0.14 // for the name of the highest
	}
	span := s.hi - s.lo
	s.lo, s.hi = s.lo-float64(below*span), s.hi+float64(above*span)
	return s
}

// ticks returns where the reader's units are round, far enough apart for text of a size in
// px, and how they are written.
func (s *scale) ticks(size float64) (values []float64, labels []string) {
	lo, hi := float64(s.lo*s.factor)+s.offset, float64(s.hi*s.factor)+s.offset
	rough := (hi - lo) * 2.3 * size / (s.bottom - s.top)
	exponent := math.Floor(math.Log10(rough))
	decimals := max(0, -int(exponent))
	unit := math.Pow(10, exponent)
	step := 10 * unit
	for _, m := range []float64{1, 2, 5} {
		if m*unit >= rough {
			step = m * unit
			break
		}
	}
	if step == 10*unit {
		decimals = max(0, decimals-1)
	}
	for k := math.Ceil(lo/step - 1e-9); float64(k*step) <= hi+float64(1e-9*step); k++ {
		shown := float64(k * step)
		values = append(values, (shown-s.offset)/s.factor)
		text := strconv.FormatFloat(shown, 'f', decimals, 64)
		if strings.Trim(text, "-0.") == "" {
			text = strings.TrimPrefix(text, "-")
		}
		labels = append(labels, text)
	}
	return values, labels
}
