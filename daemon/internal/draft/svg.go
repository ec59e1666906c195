package draft

import (
	"bytes"
	"cmp"
	"encoding/xml"
	"fmt"
	"io"
	"math"
	"slices"

	"fluewright/daemon/internal/units"
)

// The picture's measures, px.
const (
	svgWidth, svgHeight   = 800.0, 480.0
	left, right           = 82.0, 158.0 // margins; the right one holds the names of the curves
	top, bottom           = 62.0, 64.0
	plotWidth, plotHeight = svgWidth - left - right, svgHeight - top - bottom
)

// colours of the curves, warm to cold weather: Okabe and Ito's, told apart by everybody.
var colours = [...]string{"#d55e00", "#009e73", "#0072b2"}

// axis maps SI values to pixels, and has its ticks where the reader's units are round.
type axis struct {
	lo, hi     float64 // SI
	from, to   float64 // px
	factor     float64 // SI to shown: value*factor + offset
	offset     float64
	format     string // of a tick
	unit       string
	fewestStep int
}

func (a axis) at(v float64) float64 { return a.from + (v-a.lo)/(a.hi-a.lo)*(a.to-a.from) }

// ticks returns the SI values of the ticks: multiples of 1, 2 or 5 times a power of ten.
func (a axis) ticks() []float64 {
	lo, hi := a.lo*a.factor+a.offset, a.hi*a.factor+a.offset
	rough := (hi - lo) / float64(a.fewestStep)
	step := math.Pow(10, math.Floor(math.Log10(rough)))
	for _, m := range []float64{5, 2} {
		if step*m <= rough {
			step *= m
			break
		}
	}
	var all []float64
	for k := math.Ceil(lo/step - 1e-9); k*step <= hi+1e-9*step; k++ {
		all = append(all, (k*step-a.offset)/a.factor)
	}
	return all
}

func (a axis) label(v float64) string {
	shown := v*a.factor + a.offset
	if math.Abs(shown) < 1e-9 {
		shown = 0 // no minus before a zero
	}
	return fmt.Sprintf(a.format, shown)
}

// axes returns the axes that hold the curves of the result.
func (r Result) axes(u units.System) (x, y axis) {
	lo, hi := 0.0, r.Input.Appliance.Draft
	for _, c := range r.Curves {
		for _, p := range c.Points {
			lo, hi = math.Min(lo, p.Unregulated), math.Max(hi, p.Unregulated)
		}
	}
	points := r.Curves[0].Points
	x = axis{
		lo: points[0].Flue, hi: points[len(points)-1].Flue, from: left, to: left + plotWidth,
		factor: 1, format: "%.0f", unit: "°C", fewestStep: 5,
	}
	y = axis{
		lo: lo * 1.05, hi: hi * 1.05, from: top + plotHeight, to: top,
		factor: 1, format: "%.0f", unit: "Pa", fewestStep: 5,
	}
	if u != units.SI {
		x.factor, x.offset, x.unit = 1.8, 32, "°F"
		y.factor, y.format, y.unit = 1/inchOfWater, "%.2f", "in. w.c."
	}
	return x, y
}

// WriteSVG writes the picture: the draft over the flue temperature for three outdoor
// temperatures, without and with the regulator, in the reader's units.
func (r Result) WriteSVG(w io.Writer, u units.System) error {
	x, y := r.axes(u)
	s := canvas{x: x, y: y}
	s.raw(`<svg xmlns="http://www.w3.org/2000/svg" width="%.0f" height="%.0f" viewBox="0 0 %.0f %.0f" role="img" font-family="sans-serif" font-size="13" fill="#222">`,
		svgWidth, svgHeight, svgWidth, svgHeight)
	s.raw(`<title>Draft over flue temperature</title>`)
	s.raw(`<rect width="100%%" height="100%%" fill="#fff"/>`)
	c := r.Input.Chimney
	s.text(left, 24, `font-size="16" font-weight="bold"`, "Draft over flue temperature")
	s.text(left, 44, `fill="#555"`, fmt.Sprintf("%s chimney, %s high, %s wide, %s above the sea; the fire's flow follows the draft",
		c.Construction, u.Length(c.Height), width(u, c.Diameter), u.Length(r.Input.Conditions.Altitude)))
	s.grid()
	s.mark(r, u)
	for i, curve := range r.Curves {
		s.curve(curve, colours[i], "outdoors "+u.Temperature(curve.Outdoor))
	}
	s.key(r.Regulator != nil)
	s.names()
	s.raw(`</svg>`)
	if _, err := w.Write(s.out.Bytes()); err != nil {
		return fmt.Errorf("write picture: %w", err)
	}
	return nil
}

// canvas collects the elements.
type canvas struct {
	out    bytes.Buffer
	x, y   axis
	labels []label
}

// label is a name at the right of the plot, at the height y in px.
type label struct {
	y            float64
	colour, text string
}

// names writes the labels beside the ends of their lines, apart from each other.
func (s *canvas) names() {
	const apart = 16.0
	slices.SortStableFunc(s.labels, func(a, b label) int { return cmp.Compare(a.y, b.y) })
	lowest := top
	for _, l := range s.labels {
		y := math.Max(l.y, lowest)
		s.text(left+plotWidth+8, y+4.5, fmt.Sprintf(`fill="%s"`, l.colour), l.text)
		lowest = y + apart
	}
}

func (s *canvas) raw(format string, args ...any) { fmt.Fprintf(&s.out, format+"\n", args...) }

func (s *canvas) text(x, y float64, attributes, text string) {
	fmt.Fprintf(&s.out, `<text x="%.1f" y="%.1f" %s>`, x, y, attributes)
	_ = xml.EscapeText(&s.out, []byte(text)) // a bytes.Buffer takes everything
	s.raw(`</text>`)
}

// grid draws the frame, the ticks and the names of the axes.
func (s *canvas) grid() {
	for _, v := range s.y.ticks() {
		at := s.y.at(v)
		colour := "#e4e4e4"
		if math.Abs(v) < 1e-9 {
			colour = "#888"
		}
		s.raw(`<path d="M%.1f %.1fH%.1f" stroke="%s"/>`, left, at, left+plotWidth, colour)
		s.text(left-8, at+4.5, `text-anchor="end"`, s.y.label(v))
	}
	for _, v := range s.x.ticks() {
		at := s.x.at(v)
		s.raw(`<path d="M%.1f %.1fV%.1f" stroke="#e4e4e4"/>`, at, top, top+plotHeight)
		s.text(at, top+plotHeight+20, `text-anchor="middle"`, s.x.label(v))
	}
	s.raw(`<rect x="%.1f" y="%.1f" width="%.1f" height="%.1f" fill="none" stroke="#888"/>`, left, top, plotWidth, plotHeight)
	s.text(left+plotWidth/2, svgHeight-20, `text-anchor="middle"`, "flue temperature at the collar, "+s.x.unit)
	s.text(0, 0, fmt.Sprintf(`text-anchor="middle" transform="translate(22 %.1f) rotate(-90)"`, top+plotHeight/2),
		"draft at the collar, "+s.y.unit)
}

// mark draws the draft that the furnace needs and the flue temperature at nominal output.
func (s *canvas) mark(r Result, u units.System) {
	need := s.y.at(r.Input.Appliance.Draft)
	s.raw(`<path d="M%.1f %.1fH%.1f" stroke="#555" stroke-dasharray="2 3"/>`, left, need, left+plotWidth)
	s.labels = append(s.labels, label{need, "#555", "needed " + u.Pressure(r.Input.Appliance.Draft)})
	if t := r.Input.Appliance.FlueTemperature; t >= s.x.lo && t <= s.x.hi {
		at := s.x.at(t)
		s.raw(`<path d="M%.1f %.1fV%.1f" stroke="#555" stroke-dasharray="2 3"/>`, at, top, top+plotHeight)
		s.text(at+5, top+plotHeight-8, `fill="#555" font-size="12"`, "nominal")
	}
}

// curve draws one weather: without the regulator dashed where there is one.
func (s *canvas) curve(c Curve, colour, name string) {
	var free, held []byte
	move := byte('M')
	for _, p := range c.Points {
		free = fmt.Appendf(free, "%c%.1f %.1f", move, s.x.at(p.Flue), s.y.at(p.Unregulated))
		if p.Regulated != nil {
			held = fmt.Appendf(held, "%c%.1f %.1f", move, s.x.at(p.Flue), s.y.at(*p.Regulated))
		}
		move = 'L'
	}
	dash := ""
	if held != nil {
		dash = ` stroke-dasharray="7 4"`
		s.raw(`<path d="%s" fill="none" stroke="%s" stroke-width="2.5"/>`, held, colour)
	}
	s.raw(`<path d="%s" fill="none" stroke="%s" stroke-width="2"%s/>`, free, colour, dash)
	last := c.Points[len(c.Points)-1]
	s.labels = append(s.labels, label{s.y.at(last.Unregulated), colour, name})
}

// key says what the dashes mean.
func (s *canvas) key(regulated bool) {
	if !regulated {
		return
	}
	for i, entry := range []struct{ name, dash string }{
		{"regulator working", ""},
		{"without, or stuck shut", ` stroke-dasharray="7 4"`},
	} {
		y := top + 18 + 20*float64(i)
		s.raw(`<path d="M%.1f %.1fh34" stroke="#222" stroke-width="2.2"%s/>`, left+14, y, entry.dash)
		s.text(left+56, y+4.5, `font-size="12"`, entry.name)
	}
}
