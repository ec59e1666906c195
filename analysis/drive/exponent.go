package drive

import (
	"fluewright/analysis/portable"
	"fluewright/analysis/signal"
)

// Exponent is how the draft answers to the drive over a part of a curve.
type Exponent struct {
	Value, Low, High float64 // d ln(draft)/d ln(drive), with an interval of 90 %
	Draft            float64 // Pa, median there
	Slope            float64 // Pa per Pa/m, there
	From, To         float64 // Pa/m, of the points that it rests on
	Points           int
}

// What an exponent must rest on.
const (
	leastSpan   = 1.28 // To over From: of a flue of 250 °C at 0 °C outdoors, down to 165 °C
	leastPoints = 3
	z90         = 1.645
	// leastDraft is the draft whose logarithm still means something, Pa.
	leastDraft = 0.5
)

// Fitter fits without allocating.
type Fitter struct {
	x, y    [Bins]float64
	scratch [2*Bins + Bins*(Bins-1)/2]float64
}

// Exponent fits the part of the curve from the hottest point down to a drive that is span
// times smaller, by Theil and Sen over the bins' means. It reports false where the span or
// the points do not suffice, or the chimney hardly draws.
func (f *Fitter) Exponent(c *Curve, span float64) (Exponent, bool) {
	hot, ok := c.Hottest()
	if !ok {
		return Exponent{}, false
	}
	var e Exponent
	for i := range c.Points {
		p, ok := c.Seen(i)
		if !ok || p.Drive < hot.Drive/span {
			continue
		}
		if p.Draft < leastDraft {
			return Exponent{}, false
		}
		if e.Points == 0 {
			e.From = p.Drive
		}
		e.To = p.Drive
		f.x[e.Points], f.y[e.Points] = portable.Log(p.Drive), portable.Log(p.Draft)
		e.Points++
	}
	if e.Points < leastPoints || e.To < float64(leastSpan*e.From) {
		return Exponent{}, false
	}
	line, ok := signal.TheilSen(f.x[:e.Points], f.y[:e.Points], z90, f.scratch[:])
	if !ok {
		return Exponent{}, false
	}
	e.Value, e.Low, e.High = line.Slope, line.Low, line.High
	e.Draft = portable.Exp(line.Level)
	e.Slope = line.Slope * e.Draft / portable.Exp(line.Time)
	return e, true
}
