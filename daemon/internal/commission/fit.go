package commission

import (
	"fmt"
	"math"
	"strings"

	"fluewright/analysis/commissioning"
	"fluewright/daemon/internal/units"
)

// The pictures' size and the place of their axes, px.
const (
	pictureWidth, pictureHeight = 420.0, 290.0
	axisLeft, axisRight         = 62.0, 12.0
)

// fitted draws the draft over the marks: the readings, the fitted line with its end, the
// band that is specified, the interval of the mark, and where it was set.
func fitted(s *commissioning.State, u units.System) string {
	f, scale := s.Numbers.Fit, s.Site.Regulator.Scale
	top := s.Site.DraftHigh
	for _, r := range s.Numbers.Readings {
		top = math.Max(top, r.Draft)
	}
	return picture(pictureWidth, pictureHeight, fitTitle, func(b *strings.Builder) {
		c := &chart{
			b: b, left: axisLeft, top: 34, width: pictureWidth - axisLeft - axisRight, height: pictureHeight - 34 - 46,
			x0: scale.Low - 0.5, x1: scale.High + 0.5, y0: 0, y1: 1.25 * top,
		}
		c.band(s.Site.DraftLow, s.Site.DraftHigh)
		c.axes(ticks(scale.Low, scale.High, 1), draftTicks(c.y1, u), mark, func(p float64) string { return short(p, u) })
		c.text(c.left+c.width/2, pictureHeight-8, "middle", "mark (triangle: as it was left)")
		if f.Short <= 0.8 && f.Over <= 0.8 {
			want := s.Site.Specified()
			var xs, ys []float64
			for m := c.x0; m <= c.x1; m += 0.1 {
				if p := math.Min(f.Ceiling, want+f.Slope*(m-f.Mark)); p >= 0 && p <= c.y1 {
					xs, ys = append(xs, m), append(ys, p)
				}
			}
			c.path(xs, ys)
			c.line(`<path d="M%.1f %.1fH%.1fM%.1f %.1fV%.1f" stroke="#000" stroke-width="3"/>`, c.x(f.Low), c.y(want), c.x(f.High), c.x(f.Mark), c.y(want)-7, c.y(want)+7)
		}
		for _, r := range s.Numbers.Readings {
			e := 1.645 * r.Error
			c.line(`<path d="M%.1f %.1fV%.1f" stroke="#000"/><circle cx="%.1f" cy="%.1f" r="4" fill="#fff" stroke="#000" stroke-width="1.6"/>`, c.x(r.Mark), c.y(r.Draft-e), c.y(r.Draft+e), c.x(r.Mark), c.y(r.Draft))
		}
		c.line(`<path d="M%.1f %.1fl-6 10h12z" fill="#000"/>`, c.x(s.Mark), c.top+c.height)
	})
}

// fire draws flue and draft over the minutes since lighting.
func fire(s *commissioning.State, u units.System) string {
	n := len(s.Numbers.Fire)
	minutes, flue, draft := make([]float64, n), make([]float64, n), make([]float64, n)
	hot, pull := 100.0, 1.25*s.Site.DraftHigh
	for i, m := range s.Numbers.Fire {
		minutes[i], flue[i], draft[i] = m.Second/60, m.Flue, m.Draft
		hot, pull = math.Max(hot, 1.1*m.Flue), math.Max(pull, 1.1*m.Draft)
	}
	low := math.Min(0, minimum(draft))
	last := math.Max(10, minutes[n-1])
	return picture(pictureWidth, pictureHeight, fireTitle, func(b *strings.Builder) {
		half := (pictureHeight - 34 - 46 - 22) / 2
		c := &chart{b: b, left: axisLeft, top: 34, width: pictureWidth - axisLeft - axisRight, height: half, x1: last, y1: hot}
		c.axes(nil, temperatureTicks(hot, u), nil, func(t float64) string { return u.Temperature(t) })
		c.path(minutes, flue)
		d := *c
		d.top, d.y0, d.y1 = 34+half+22, low, pull
		d.band(s.Site.DraftLow, s.Site.DraftHigh)
		d.axes(ticks(0, last, 1), draftTicks(pull, u), func(m float64) string { return fmt.Sprintf("%.0f", m) }, func(p float64) string { return short(p, u) })
		d.path(minutes, draft)
		d.text(d.left+d.width/2, pictureHeight-8, "middle", "minutes since lighting")
	})
}

func minimum(v []float64) float64 {
	low := math.Inf(1)
	for _, x := range v {
		low = math.Min(low, x)
	}
	return low
}

// draftTicks returns drafts from nothing up that are round in the reader's unit, Pa.
func draftTicks(top float64, u units.System) []float64 {
	if u == units.SI {
		return ticks(0, top, 1)
	}
	return ticks(0, top, 0.001*units.PascalsPerInH2O)
}

// temperatureTicks likewise, °C.
func temperatureTicks(top float64, u units.System) []float64 {
	if u == units.SI {
		return ticks(0, top, 10)
	}
	all := ticks(32, units.Fahrenheit(top), 20)
	for i, f := range all {
		all[i] = units.Celsius(f)
	}
	return all
}

func short(pascals float64, u units.System) string {
	if math.Abs(pascals) < 1e-9 {
		pascals = 0 // no minus before it
	}
	if u == units.SI {
		return fmt.Sprintf("%.0f Pa", pascals)
	}
	return fmt.Sprintf("%.2f in.", pascals/units.PascalsPerInH2O)
}
