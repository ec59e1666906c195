package panel

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"time"
)

// label is a trace's name and last value beside its end.
type label struct {
	at, y float64 // the height that it belongs to, and where it stands
	text  string
	role  role
}

// measurePlots prepares the panels and finds the margins that their numbers need.
func (d *drawing) measurePlots() {
	numbers, names := d.width("00:0"), 0.0
	for i := range d.p.Panels {
		p := plot{Panel: &d.p.Panels[i]}
		for _, t := range p.Traces {
			p.columns = append(p.columns, t.Columns)
		}
		p.scale = newScale(p.Panel, d.p.Units, p.columns)
		p.top, p.bottom = 0, 160
		_, texts := p.ticks(36)
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
		for j, c := range d.plots[i].columns {
			d.plots[i].columns[j] = narrowed(c, n)
		}
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
	value := "–"
	if c, ok := d.last(t, p.columns[i]); ok {
		value, _ = write(p.Quantity, d.p.Units, p.columns[i][c].Mean)
	}
	return d.fit(t.Name, float64(d.p.Width)*0.3-d.width(" "+value)) + " " + value
}

// last returns the last column with a reading, if that is recent enough to stand for now.
func (d *drawing) last(t *Trace, columns []Column) (int, bool) {
	i := len(columns) - 1
	for i >= 0 && columns[i].empty() {
		i--
	}
	if i < 0 {
		return 0, false
	}
	width := d.columnWidth(columns)
	return i, d.now.Sub(d.p.From)-time.Duration(i+1)*width <= t.Hold+width
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
	runs := d.phaseRuns()
	for i := range d.plots {
		p := &d.plots[i]
		d.rect(d.left, p.top, d.right-d.left, p.bottom-p.top, d.paint(none, edge))
		for _, r := range runs {
			d.rect(r.from, p.top, r.to-r.from, p.bottom-p.top, d.paint(phaseRole(r.phase), none))
		}
		if p.Band != nil && p.Band.Low < p.Band.High {
			high, low := p.inside(p.at(p.Band.High)), p.inside(p.at(p.Band.Low))
			d.rect(d.left, high, d.right-d.left, low-high, ` fill-opacity=".55"`+d.paint(band, none))
		}
		for _, g := range d.gaps(p) {
			d.rect(g[0], p.top, g[1]-g[0], p.bottom-p.top, fmt.Sprintf(` fill="url(#%s-gap)"`, d.prefix))
		}
	}
	d.highSpans()
}

// gaps returns from where to where nothing at all was read, px.
func (d *drawing) gaps(p *plot) [][2]float64 {
	if len(p.Traces) == 0 {
		return nil
	}
	nowX := d.x(d.now)
	// A pixel is missing if no trace spans it.
	missing := make([]bool, int(d.right-d.left))
	for i := range missing {
		missing[i] = d.left+float64(i) < nowX
	}
	for i, columns := range p.columns {
		join, before := d.joined(&p.Traces[i], columns), -1
		for j := range columns {
			if columns[j].empty() {
				continue
			}
			from := j
			if before >= 0 && j-before <= join || before < 0 && j < join {
				from = before + 1
			}
			before = j
			to := j + 1
			d.unmark(missing, from, to, len(columns))
		}
		if before >= 0 && len(columns)-before <= join {
			d.unmark(missing, before, len(columns), len(columns))
		}
	}
	var all [][2]float64
	for i := 0; i < len(missing); i++ {
		if !missing[i] {
			continue
		}
		from := i
		for i < len(missing) && missing[i] {
			i++
		}
		if i-from >= 2 {
			all = append(all, [2]float64{d.left + float64(from), d.left + float64(i)})
		}
	}
	return all
}

// unmark takes the pixels of the columns from one to before another, of n, as read.
func (d *drawing) unmark(missing []bool, from, to, n int) {
	first := from * len(missing) / n
	last := (to*len(missing) + n - 1) / n
	for i := first; i < last && i < len(missing); i++ {
		missing[i] = false
	}
}

// plot draws one panel.
func (d *drawing) plot(p *plot) {
	_, unit := write(p.Quantity, d.p.Units, 0)
	title := p.Title + ", " + unit
	d.text(d.left, p.title, start, ink, ` font-weight="bold"`, d.fit(title, (float64(d.p.Width)-d.left)/1.1))
	values, labels := p.ticks(36)
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
		d.cloud(p, i)
	}
	for i := range p.Traces {
		d.trace(p, i)
		for _, f := range p.Traces[i].Forecasts {
			d.forecast(p, f, traceRole(i))
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

// lineWidth is that of a trace, px.
const lineWidth = 1.6

// cloud draws from the least to the greatest reading of each column, where that is more
// than the line covers.
func (d *drawing) cloud(p *plot, i int) {
	var bars path
	n := len(p.columns[i])
	for j, c := range p.columns[i] {
		if c.empty() {
			continue
		}
		lo, hi := p.at(c.Min), p.at(c.Max)
		if lo-hi > lineWidth {
			bars.move(d.centre(j, n), hi)
			bars.vertical(lo)
		}
	}
	width := (d.right - d.left) / float64(max(n, 1))
	d.stroke(&bars, fmt.Sprintf(` stroke-width="%s" stroke-opacity=".38"`, px(max(width, 1)))+d.paint(none, cloudRole(i)))
}

// trace draws the means as a line, broken at the gaps.
func (d *drawing) trace(p *plot, i int) {
	var line path
	t, columns := &p.Traces[i], p.columns[i]
	n, join := len(columns), d.joined(&p.Traces[i], columns)
	var run []point
	before := -1
	flush := func() {
		for k, q := range simplified(run) {
			if k == 0 {
				line.move(q.x, q.y)
			} else {
				line.line(q.x, q.y)
			}
		}
		if len(run) == 1 {
			line.line(run[0].x, run[0].y) // a dot
		}
		run = run[:0]
	}
	for j := range columns {
		if columns[j].empty() {
			continue
		}
		if before >= 0 && j-before > join {
			flush()
		}
		before = j
		run = append(run, point{d.centre(j, n), p.at(columns[j].Mean)})
	}
	flush()
	if line.empty() {
		return
	}
	d.put(`<g%s><path stroke-width="%s" stroke-linejoin="round" stroke-linecap="round"%s d="%s">`,
		d.dash(i), px(lineWidth), d.paint(none, traceRole(i)), line.data)
	d.title(t.Name)
	d.raw("</path></g>\n")
}

type point struct{ x, y float64 }

// unseen is by how much a simplified line may miss a point, px.
const unseen = 0.15

// simplified leaves out the points that lie on the line through their neighbours, as far
// as anybody can see. x must rise.
func simplified(all []point) []point {
	if len(all) < 3 {
		return all
	}
	kept := []point{all[0]}
	from := all[0]
	steepest, flattest := math.Inf(1), math.Inf(-1)
	for i := 1; i < len(all); i++ {
		q := all[i]
		dx := q.x - from.x
		slope := (q.y - from.y) / dx
		if slope > steepest || slope < flattest {
			from = all[i-1]
			kept = append(kept, from)
			steepest, flattest = math.Inf(1), math.Inf(-1)
			dx = q.x - from.x
		}
		steepest = min(steepest, (q.y-from.y+unseen)/dx)
		flattest = max(flattest, (q.y-from.y-unseen)/dx)
	}
	return append(kept, all[len(all)-1])
}

// forecast draws how the value was expected to go on: dashed, and fainter the farther.
func (d *drawing) forecast(p *plot, f Forecast, r role) {
	if len(f) < 2 {
		return
	}
	last := f[len(f)-1]
	number, unit := write(p.Quantity, d.p.Units, last.Value)
	d.put(`<g stroke-width="2" stroke-dasharray="1.5 3" stroke-linecap="round"%s>`, d.paint(none, r))
	d.title(fmt.Sprintf("Forecast of %s: %s %s at %s, %.0f %% to pass the limit", f[0].Time.In(d.zone).Format("15:04"),
		number, unit, last.Time.In(d.zone).Format("15:04"), 100*min(max(last.Probability, 0), 1)))
	whole := float64(last.Time.Sub(f[0].Time))
	for i := 1; i < len(f); i++ {
		a, b := f[i-1], f[i]
		if !b.Time.After(a.Time) || b.Time.Before(d.p.From) || a.Time.After(d.p.To) || math.IsNaN(a.Value+b.Value) {
			continue
		}
		gone := float64(b.Time.Sub(f[0].Time)) / whole
		d.straight(d.exact(a.Time), p.at(a.Value), d.exact(b.Time), p.at(b.Value),
			fmt.Sprintf(` stroke-opacity="%.2f"`, 1-float64(0.6*gone)))
	}
	d.raw("</g>\n")
}

// exact is where a moment lies, also outside of the plots.
func (d *drawing) exact(t time.Time) float64 {
	share := float64(t.Sub(d.p.From)) / float64(d.p.To.Sub(d.p.From))
	return d.left + float64(share*(d.right-d.left))
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
		y := side.edge + d.size
		if side.tip > 0 {
			y = side.edge - 4
		}
		d.text(x, y, a, ink, "", d.fit(number, d.right-d.left))
	}
}

// limits draws the limits as dashed lines with their names above them, and names the band.
func (d *drawing) limits(p *plot) {
	type line struct {
		y    float64
		text string
	}
	var all []line
	for _, l := range p.Limits {
		number, unit := write(p.Quantity, d.p.Units, l.Value)
		all = append(all, line{p.at(l.Value), fmt.Sprintf("%s %s %s", l.Label, number, unit)})
	}
	slices.SortStableFunc(all, func(a, b line) int { return cmp.Compare(a.y, b.y) })
	lowest, x := math.Inf(-1), d.left+4
	for _, l := range all {
		if math.IsNaN(l.y) || l.y < p.top || l.y > p.bottom {
			continue
		}
		d.straight(d.left, l.y, d.right, l.y, ` stroke-width="1.3" stroke-dasharray="6 4"`+d.paint(none, limit))
		// Lines close together have their names side by side.
		if l.y-lowest >= d.size+2 {
			x = d.left + 4
		}
		lowest = l.y
		text := d.fit(l.text, d.right-x)
		y := l.y - 4
		if y-d.size < p.top {
			y = l.y + d.size + 1
		}
		d.halo(x, y, limit, text)
		x += d.width(text) + 12
	}
	if p.Band != nil && p.Band.Label != "" {
		low, _ := write(p.Quantity, d.p.Units, p.Band.Low)
		high, unit := write(p.Quantity, d.p.Units, p.Band.High)
		y := p.inside(p.at(p.Band.Low)) + d.size + 1
		if y > p.bottom-2 {
			y = p.bottom - 3
		}
		d.halo(d.left+4, y, muted, d.fit(fmt.Sprintf("%s %s to %s %s", p.Band.Label, low, high, unit), d.right-d.left-8))
	}
}

// halo writes text on a piece of ground, so that lines do not run through it.
func (d *drawing) halo(x, y float64, r role, text string) {
	if text == "" {
		return
	}
	d.rect(x-2, y-d.size+1, d.width(text)*0.95+4, d.size+2, ` fill-opacity=".8"`+d.paint(ground, none))
	d.text(x, y, start, r, "", text)
}

// ends writes the names with the last values beside the ends of the traces, apart from
// each other.
func (d *drawing) ends(p *plot) {
	for i := range p.Traces {
		y := (p.top + p.bottom) / 2
		if columns := p.columns[i]; len(columns) > 0 {
			if j, ok := d.last(&p.Traces[i], columns); ok || !columns[j].empty() {
				y = p.inside(p.at(columns[j].Mean))
			}
		}
		p.labels = append(p.labels, label{at: y, text: d.lastWords(p, i), role: traceRole(i)})
	}
	spread(p.labels, p.top+d.size/2, p.bottom-d.size/2, d.size+3)
	for _, l := range p.labels {
		d.straight(d.right+1, l.at, d.right+9, l.y, d.paint(none, l.role))
		d.text(d.right+11, l.y+0.36*d.size, start, l.role, "", l.text)
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
