package panel

import (
	"cmp"
	"fmt"
	"math"
	"slices"
)

// limits draws the limits as dashed lines with their names above them, and names the band.
func (d *drawing) limits(p *plot) {
	limits := slices.Clone(p.Limits)
	slices.SortStableFunc(limits, func(a, b Limit) int { return cmp.Compare(b.Value, a.Value) })
	var taken []box
	for _, l := range limits {
		y := p.at(l.Value)
		if !(y >= p.top && y <= p.bottom) {
			continue
		}
		d.straight(d.left, y, d.right, y, ` stroke-width="1.3" stroke-dasharray="6 4"`+d.paint(none, limit))
		number, unit := write(p.Quantity, d.p.Units, l.Value)
		taken = d.caption(p, y-4, limit, fmt.Sprintf("%s %s %s", l.Label, number, unit), taken)
	}
	if p.Band != nil && p.Band.Label != "" && p.Band.Low < p.Band.High {
		low, _ := write(p.Quantity, d.p.Units, p.Band.Low)
		high, unit := write(p.Quantity, d.p.Units, p.Band.High)
		y := p.inside(p.at(p.Band.Low)) + d.size + 1
		d.caption(p, y, muted, fmt.Sprintf("%s %s to %s %s", p.Band.Label, low, high, unit), taken)
	}
}

// box is a piece of a panel, px.
type box struct{ left, top, right, bottom float64 }

func (b box) meets(o box) bool {
	return b.left < o.right && o.left < b.right && b.top < o.bottom && o.top < b.bottom
}

// caption writes a text into a panel where it hides the least, on a piece of ground so
// that no line runs through it. It returns what is taken, with its own place.
func (d *drawing) caption(p *plot, y float64, r role, text string, taken []box) []box {
	const places = 12
	if text = d.fit(text, d.right-d.left-8); text == "" {
		return taken
	}
	y = min(max(y, p.top+d.size), p.bottom-3)
	w := d.width(text)
	var best box
	least := math.MaxInt
	for i := range places {
		x := d.left + 4 + float64((d.right-d.left-8-w)*float64(i)/(places-1))
		b := box{x - 2, y - d.size + 1, x + w, y + 3}
		hidden := d.hidden(p, b)
		if slices.ContainsFunc(taken, b.meets) {
			hidden += 1 << 20
		}
		if hidden < least {
			best, least = b, hidden
		}
	}
	d.rect(best.left, best.top, best.right-best.left, best.bottom-best.top, ` fill-opacity=".75"`+d.paint(ground, none))
	d.text(best.left+2, y, start, r, "", text)
	return append(taken, best)
}

// hidden counts the columns and the points of forecasts that a box would cover.
func (d *drawing) hidden(p *plot, b box) (n int) {
	for _, columns := range p.columns {
		width := (d.right - d.left) / float64(max(len(columns), 1))
		first := max(0, int((b.left-d.left)/width)-1)
		for j := first; j < len(columns); j++ {
			x := d.left + float64(float64(j)*width)
			if x > b.right {
				break
			}
			if c := &columns[j]; !c.empty() && b.meets(box{x, p.at(c.Max) - 1, x + width, p.at(c.Min) + 1}) {
				n++
			}
		}
	}
	for _, t := range p.Traces {
		for _, f := range t.Forecasts {
			for _, point := range f {
				x, y := d.exact(point.Time), p.at(point.Value)
				if b.meets(box{x - 8, y - 2, x + 8, y + 2}) {
					n++
				}
			}
		}
	}
	return n
}
