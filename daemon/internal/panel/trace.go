package panel

import (
	"fmt"
	"math"
	"time"
)

// lineWidth is that of a trace, px.
const lineWidth = 1.6

// extremes draws from the least to the greatest reading of each column, where that is more
// than the line covers.
func (d *drawing) extremes(p *plot, i int) {
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
	d.stroke(&bars, fmt.Sprintf(` stroke-width="%s" stroke-opacity=".38"`, px(max(width, 1)))+d.paint(none, p.cloud(i)))
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
		d.dash(i), px(lineWidth), d.paint(none, p.colour(i)), line.data)
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
