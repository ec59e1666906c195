package panel

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"time"

	"fluewright/analysis/burn"
)

// label is a trace's name and last value beside its end.
type label struct {
	at, y  float64 // the height that it belongs to, and where it stands
	text   string
	colour role
}

// colour and cloud are those of a trace: no two in the picture have the same, as long as
// there are enough.
func (p *plot) colour(i int) role { return trace0 + role((p.first+i)%traces) }
func (p *plot) cloud(i int) role  { return cloud0 + role((p.first+i)%traces) }

// measurePlots prepares the panels and finds the margins that their numbers need.
func (d *drawing) measurePlots() {
	numbers, names, first := d.width("00:0"), 0.0, 0
	for i := range d.p.Panels {
		if d.p.Elapsed {
			first = 0
		}
		p := plot{Panel: &d.p.Panels[i], first: first}
		first += len(p.Traces)
		for _, t := range p.Traces {
			p.columns = append(p.columns, t.Columns)
		}
		p.scale = newScale(p.Panel, d.p.Units, p.columns)
		p.top, p.bottom = 0, 160
		_, texts := p.ticks(d.size)
		for _, t := range texts {
			numbers = max(numbers, d.width(t))
		}
		for j := range p.Traces {
			names = max(names, d.width(d.lastWords(&p, j)))
		}
		d.plots = append(d.plots, p)
	}
	width := float64(d.p.Width)
	d.left = math.Ceil(margin + numbers + 5)
	d.right = math.Floor(width - margin - min(names, width*0.3) - 12)
	n := int(d.right - d.left)
	for i := range d.plots {
		p := &d.plots[i]
		for j, c := range p.columns {
			p.columns[j] = narrowed(c, n)
		}
		p.missing = d.gaps(p)
	}
}

// narrowed merges columns until there are n at most, each into the pixel of its middle.
func narrowed(columns []Column, n int) []Column {
	if len(columns) <= n {
		return columns
	}
	all := make([]Column, n)
	for i, c := range columns {
		all[(2*i+1)*n/(2*len(columns))].merge(c)
	}
	return all
}

// lastWords is what stands at the end of a trace: its name with its last value, or a dash
// where there is none any more.
func (d *drawing) lastWords(p *plot, i int) string {
	t := &p.Traces[i]
	if d.p.Elapsed {
		return d.fit(t.Name, float64(d.p.Width)*0.3) // it ended long ago
	}
	value := ""
	switch v, known, now := d.last(t); {
	case !now:
		value = " –"
	case known:
		number, _ := write(p.Quantity, d.p.Units, v)
		value = " " + number
	}
	return d.fit(t.Name, float64(d.p.Width)*0.3-d.width(value)) + value
}

// brief is the longest column whose mean can be taken for its last reading.
const brief = 2 * time.Minute

// last returns the last value, as far as it is known, and whether there is one recent
// enough to stand for now.
func (d *drawing) last(t *Trace) (v float64, known, now bool) {
	columns := t.Columns
	width := d.columnWidth(columns)
	if at := t.Last.Time; !at.IsZero() && usable(t.Last.Value) {
		return t.Last.Value, true, d.now.Sub(at) <= max(t.Hold, width)
	}
	i := lastColumn(columns)
	if i < 0 || d.now.Sub(d.p.From)-time.Duration(i+1)*width > t.Hold+width {
		return 0, false, false
	}
	return columns[i].Mean, width <= brief, true
}

// lastColumn is the last with a reading, or -1.
func lastColumn(columns []Column) int {
	i := len(columns) - 1
	for i >= 0 && columns[i].empty() {
		i--
	}
	return i
}

func (d *drawing) columnWidth(columns []Column) time.Duration {
	return d.p.To.Sub(d.p.From) / time.Duration(max(len(columns), 1))
}

// centre is the middle of a column, px.
func (d *drawing) centre(i, n int) float64 {
	return d.left + float64((float64(i)+0.5)*((d.right-d.left)/float64(n)))
}

// joined is how many columns from one with a reading to the next may be for the line to
// go on.
func (d *drawing) joined(t *Trace, columns []Column) int {
	width := d.columnWidth(columns)
	return 1 + int(max(t.Hold, 0)/max(width, 1))
}

// grounds fills what lies behind: phases, gaps, the specified bands.
func (d *drawing) grounds() {
	var phases [burn.Coals + 1]path
	for i := range d.plots {
		for _, r := range d.runs {
			phases[r.phase].box(r.from, d.plots[i].top, r.to, d.plots[i].bottom)
		}
	}
	for phase := range phases {
		d.stroke(&phases[phase], d.paint(phaseRole(burn.Phase(phase)), none))
	}
	for i := range d.plots {
		p := &d.plots[i]
		if p.Band != nil && p.Band.Low < p.Band.High {
			high, low := p.inside(p.at(p.Band.High)), p.inside(p.at(p.Band.Low))
			d.rect(d.left, high, d.right-d.left, low-high, ` fill-opacity=".55"`+d.paint(band, none))
		}
		for _, g := range p.missing {
			d.rect(g[0], p.top, g[1]-g[0], p.bottom-p.top, fmt.Sprintf(` fill="url(#%s-gap)"`, d.prefix))
		}
	}
	d.highSpans()
}

// plot draws one panel.
func (d *drawing) plot(p *plot) {
	_, unit := write(p.Quantity, d.p.Units, 0)
	title := p.Title + ", " + unit
	d.text(d.left, p.title, start, ink, ` font-weight="bold"`, d.fit(title, (float64(d.p.Width)-d.left)/1.1))
	values, labels := p.ticks(d.size)
	var lines path
	for i, v := range values {
		y := p.at(v)
		lines.move(d.left, y)
		lines.step('l', d.right, y)
		d.text(d.left-5, y+0.36*d.size, end, muted, "", labels[i])
	}
	d.stroke(&lines, d.paint(none, grid))
	if p.Quantity == Pressure {
		if y := p.at(0); y > p.top && y < p.bottom {
			d.straight(d.left, y, d.right, y, d.paint(none, edge))
		}
	}
	d.put(`<g clip-path="url(#%s-clip%d)">`+"\n", d.prefix, d.index(p))
	for i := range p.Traces {
		d.extremes(p, i)
	}
	for i := range p.Traces {
		d.trace(p, i)
		for _, f := range p.Traces[i].Forecasts {
			d.forecast(p, f, p.colour(i))
		}
	}
	d.raw("</g>\n")
	d.beyond(p)
	d.limits(p)
	d.rect(d.left, p.top, d.right-d.left, p.bottom-p.top, d.paint(none, edge))
	d.ends(p)
}

func (d *drawing) index(p *plot) int {
	return slices.IndexFunc(d.plots, func(q plot) bool { return q.Panel == p.Panel })
}

// beyond marks the columns that leave the panel, with the farthest value of each side.
func (d *drawing) beyond(p *plot) {
	for _, side := range []struct {
		value func(Column) float64
		over  func(v, than float64) bool
		edge  float64
		tip   float64
	}{
		{func(c Column) float64 { return c.Max }, func(v, than float64) bool { return v > than }, p.top, -1},
		{func(c Column) float64 { return c.Min }, func(v, than float64) bool { return v < than }, p.bottom, 1},
	} {
		var marks path
		bound, far, at, free := p.hi, 0.0, -1.0, 0.0
		if side.tip > 0 {
			bound = p.lo
		}
		for _, columns := range p.columns {
			free = 0
			for j, c := range columns {
				if c.empty() || !side.over(side.value(c), bound) {
					continue
				}
				x := d.centre(j, len(columns))
				if at < 0 || side.over(side.value(c), far) {
					far, at = side.value(c), x
				}
				if x < free {
					continue
				}
				free = x + 8
				marks.move(x-3.5, side.edge-6*side.tip)
				marks.line(x+3.5, side.edge-6*side.tip)
				marks.line(x, side.edge-side.tip)
			}
		}
		if at < 0 {
			continue
		}
		d.stroke(&marks, d.paint(ink, none))
		number, _ := write(p.Quantity, d.p.Units, far)
		a, x := start, at+6
		if x+d.width(number) > d.right {
			a, x = end, at-6
		}
		y := side.edge + d.size + 8 // clear of the marks
		if side.tip > 0 {
			y = side.edge - 11
		}
		d.text(x, y, a, ink, "", d.fit(number, d.right-d.left))
	}
}

// ends writes the names with the last values beside the ends of the traces, apart from
// each other.
func (d *drawing) ends(p *plot) {
	for i := range p.Traces {
		y := (p.top + p.bottom) / 2
		if j := lastColumn(p.columns[i]); j >= 0 {
			y = p.inside(p.at(p.columns[i][j].Mean))
		}
		p.labels = append(p.labels, label{at: y, text: d.lastWords(p, i), colour: p.colour(i)})
	}
	spread(p.labels, p.top+d.size/2, p.bottom-d.size/2, d.size+3)
	for _, l := range p.labels {
		d.straight(d.right+1, l.at, d.right+9, l.y, d.paint(none, l.colour))
		d.text(d.right+11, l.y+0.36*d.size, start, l.colour, "", l.text)
	}
}

// spread moves labels apart from each other, within top and bottom where there is room.
func spread(labels []label, top, bottom, apart float64) {
	slices.SortStableFunc(labels, func(a, b label) int { return cmp.Compare(a.at, b.at) })
	lowest := top
	for i := range labels {
		labels[i].y = max(labels[i].at, lowest)
		lowest = labels[i].y + apart
	}
	highest := bottom
	for i := len(labels) - 1; i >= 0; i-- {
		labels[i].y = min(labels[i].y, highest)
		highest = labels[i].y - apart
	}
}
