package commission

import (
	"encoding/xml"
	"fmt"
	"math"
	"strings"
)

// chart is a small diagram, black on white, for paper. The diagrams of package panel have
// an axis of dates, which neither marks nor minutes since lighting are.
type chart struct {
	b                        *strings.Builder
	left, top, width, height float64 // of the plot, px
	x0, x1, y0, y1           float64 // what it spans
}

func (c *chart) line(format string, args ...any) { fmt.Fprintf(c.b, format+"\n", args...) }

func (c *chart) x(v float64) float64 {
	return c.left + (math.Max(c.x0, math.Min(c.x1, v))-c.x0)/(c.x1-c.x0)*c.width
}

func (c *chart) y(v float64) float64 {
	return c.top + c.height - (math.Max(c.y0, math.Min(c.y1, v))-c.y0)/(c.y1-c.y0)*c.height
}

func (c *chart) text(x, y float64, anchor, text string) {
	c.line(`<text x="%.1f" y="%.1f" text-anchor="%s">`, x, y, anchor)
	var clean strings.Builder
	_ = xml.EscapeText(&clean, []byte(text)) // a builder takes everything
	c.line(`%s</text>`, clean.String())
}

// band shades what is specified.
func (c *chart) band(lo, hi float64) {
	c.line(`<rect x="%.1f" y="%.1f" width="%.1f" height="%.1f" fill="#e2e2e2"/>`, c.left, c.y(hi), c.width, c.y(lo)-c.y(hi))
	c.text(c.left+c.width-4, c.y(hi)-4, "end", "specified")
}

// axes draws the frame and its ticks with their names.
func (c *chart) axes(xs, ys []float64, nameX, nameY func(float64) string) {
	for _, v := range ys {
		c.line(`<path d="M%.1f %.1fh%.1f" stroke="#bbb" stroke-width=".6"/>`, c.left, c.y(v), c.width)
		c.text(c.left-5, c.y(v)+4, "end", nameY(v))
	}
	for _, v := range xs {
		c.line(`<path d="M%.1f %.1fv5" stroke="#000"/>`, c.x(v), c.top+c.height)
		c.text(c.x(v), c.top+c.height+18, "middle", nameX(v))
	}
	c.line(`<rect x="%.1f" y="%.1f" width="%.1f" height="%.1f" fill="none" stroke="#000"/>`, c.left, c.top, c.width, c.height)
}

// path draws a line through points.
func (c *chart) path(xs, ys []float64) {
	var d []byte
	move := byte('M')
	for i, x := range xs {
		d = fmt.Appendf(d, "%c%.1f %.1f", move, c.x(x), c.y(ys[i]))
		move = 'L'
	}
	if len(d) > 0 {
		c.line(`<path d="%s" fill="none" stroke="#000" stroke-width="1.5"/>`, d)
	}
}

// ticks returns the multiples of a round step that lie in a range, about five, in a unit.
func ticks(lo, hi, unit float64) []float64 {
	step := unit
	for _, k := range []float64{2, 5, 10, 20, 50, 100, 200, 500} {
		if (hi-lo)/step <= 6 {
			break
		}
		step = k * unit
	}
	var all []float64
	for k := math.Ceil(lo/step - 1e-9); k*step <= hi+1e-9*step && len(all) < 50; k++ {
		all = append(all, k*step+0) // no minus before a zero
	}
	return all
}

// picture draws within a picture of the given size and title.
func picture(width, height float64, title string, draw func(*strings.Builder)) string {
	var b strings.Builder
	fmt.Fprintf(&b, `<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 %.0f %.0f" width="%.0f" height="%.0f" role="img" aria-label="%s" font-family="sans-serif" font-size="12" fill="#000">
<rect width="100%%" height="100%%" fill="#fff"/>
<text x="8" y="18" font-size="13" font-weight="bold">%s</text>
`, width, height, width, height, title, title)
	draw(&b)
	b.WriteString("</svg>\n")
	return b.String()
}
