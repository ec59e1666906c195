package panel

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"time"

	"fluewright/analysis/alarm"
	"fluewright/analysis/burn"
)

// phaseRun is a stretch of pixels in one phase.
type phaseRun struct {
	from, to float64
	phase    burn.Phase
}

// known takes a phase that nobody knows for one that is not known.
func known(p burn.Phase) burn.Phase {
	if p > burn.Coals {
		return burn.Unknown
	}
	return p
}

// phaseRuns gives every pixel the phase that fills most of it: there are never more runs
// than pixels.
func (d *drawing) phaseRuns() []phaseRun {
	n := int(d.right - d.left)
	shares := make([][burn.Coals + 1]float64, n)
	for _, b := range d.p.Bands {
		if !b.From.Before(b.To) || !d.seen(b.From, b.To) {
			continue
		}
		from, to := d.x(b.From)-d.left, d.x(b.To)-d.left
		for i := int(from); i < n && float64(i) < to; i++ {
			shares[i][known(b.Phase)] += min(to, float64(i+1)) - max(from, float64(i))
		}
	}
	var runs []phaseRun
	for i, share := range shares {
		best, most := burn.Unknown, 0.25 // less is the pixel's edge
		for phase, s := range share {
			if s > most {
				best, most = burn.Phase(phase), s
			}
		}
		if most == 0.25 {
			continue
		}
		from := d.left + float64(i)
		if last := len(runs) - 1; last >= 0 && runs[last].phase == best && runs[last].to == from {
			runs[last].to = from + 1
			continue
		}
		runs = append(runs, phaseRun{from, from + 1, best})
	}
	return runs
}

// laneTop is where the lanes of each sort begin.
func (d *drawing) laneTop() float64 {
	if len(d.p.Bands) > 0 {
		return d.top + laneHeight
	}
	return d.top
}

// phases draws the strip of phases: a name where there is room, a pattern always.
func (d *drawing) phases() {
	if len(d.p.Bands) == 0 {
		return
	}
	bottom := d.top + laneHeight - 2
	bar := bottom - barHeight
	var tints, bars [burn.Coals + 1]path
	var bounds path
	for _, r := range d.runs {
		tints[r.phase].box(r.from, d.top, r.to, bottom)
		bars[r.phase].box(r.from, bar, r.to, bottom)
		if r.to-r.from > 6 {
			bounds.move(r.from, d.top)
			bounds.vertical(bottom)
		}
	}
	for i := range tints {
		if phase := burn.Phase(i); !tints[i].empty() {
			d.raw("<g>")
			d.title(phase.String())
			d.stroke(&tints[i], d.paint(phaseRole(phase), none))
			d.stroke(&bars[i], fmt.Sprintf(` fill="url(#%s-%s)"`, d.prefix, phase))
			d.raw("</g>\n")
		}
	}
	d.stroke(&bounds, d.paint(none, edge))
	for _, r := range d.runs {
		if d.named(r) {
			d.text((r.from+r.to)/2, bar-4, middle, ink, "", r.phase.String())
		}
	}
	d.rect(d.left, d.top, d.right-d.left, laneHeight-2, d.paint(none, edge))
}

// named reports whether a stretch has room for its name.
func (d *drawing) named(r phaseRun) bool { return d.width(r.phase.String())+6 <= r.to-r.from }

// lane is a row of alarms that do not touch.
type lane []placed

// placed is an alarm in its lane.
type placed struct {
	mark        *Mark
	from, to    float64 // its bar
	text        string
	textX       float64
	left, right float64 // all that it takes up
}

// until is the end of a mark that goes on.
func (d *drawing) until(m *Mark) time.Time {
	if m.To.IsZero() {
		return d.now
	}
	return m.To
}

// lasting reports whether a mark has a length.
func (m *Mark) lasting() bool { return m.Kind == Alarm || m.Kind == Door }

// packAlarms puts the alarms into lanes, the most urgent first: if there are too many,
// the least urgent are only counted.
func (d *drawing) packAlarms() {
	most := 8
	if d.p.Width < narrow {
		most = 6
	}
	var marks []*Mark
	for i := range d.p.Marks {
		m := &d.p.Marks[i]
		if m.Kind == Alarm && d.seen(m.From, d.until(m)) {
			marks = append(marks, m)
		}
	}
	slices.SortStableFunc(marks, func(a, b *Mark) int {
		return cmp.Or(cmp.Compare(b.Priority, a.Priority), a.From.Compare(b.From))
	})
	for _, m := range marks {
		d.pack(m, most)
	}
	if d.more > 0 {
		d.group(marks, most)
	}
}

// group gives each alarm one lane, with its name and how often it stood at the left: for
// more of them than can be named apart.
func (d *drawing) group(marks []*Mark, most int) {
	d.alarms, d.more, d.grouped = nil, 0, true
	byName := map[string]int{}
	var groups [][]*Mark
	for _, m := range marks {
		i, ok := byName[m.Name]
		if !ok {
			i = len(groups)
			byName[m.Name] = i
			groups = append(groups, nil)
		}
		groups[i] = append(groups[i], m)
	}
	for i, g := range groups {
		if i >= most {
			d.more += len(g)
			continue
		}
		text := fmt.Sprintf("%s, %d times", d.fit(g[0].Name, (d.right-d.left)*0.7), len(g))
		if len(g) == 1 {
			text = d.alarmText(g[0])
		}
		l := lane{d.place(g[0], text)}
		l[0].textX = d.left
		for _, m := range g[1:] {
			p := d.place(m, "")
			// Bars that touch are one, as long as they are as urgent and as over.
			if q := &l[len(l)-1]; p.from <= q.to+1 && m.Priority == q.mark.Priority && !m.To.IsZero() && !q.mark.To.IsZero() {
				q.to = max(q.to, p.to)
				continue
			}
			l = append(l, p)
		}
		d.alarms = append(d.alarms, l)
	}
}

// pack finds a lane for one alarm: with its name, else without.
func (d *drawing) pack(m *Mark, most int) {
	for _, text := range []string{d.alarmText(m), ""} {
		p := d.place(m, text)
		for i := range d.alarms {
			if d.alarms[i].free(p) {
				d.alarms[i] = append(d.alarms[i], p)
				return
			}
		}
		if len(d.alarms) < most {
			d.alarms = append(d.alarms, lane{p})
			return
		}
	}
	d.more++
}

func (l lane) free(p placed) bool {
	return !slices.ContainsFunc(l, func(q placed) bool { return p.left < q.right+4 && q.left < p.right+4 })
}

// symbolWidth is the room of a symbol before a name, px.
const symbolWidth = 13.0

func (d *drawing) place(m *Mark, text string) placed {
	p := placed{mark: m, from: d.x(m.From), to: d.x(d.until(m))}
	p.to = max(p.to, p.from+2)
	w := symbolWidth + d.width(text)
	p.textX = min(p.from, float64(d.p.Width)-margin-w)
	p.left, p.right = min(p.from, p.textX), max(p.to, p.textX+w)
	p.text = text
	return p
}

func (d *drawing) alarmText(m *Mark) string {
	text := m.Name
	if m.State != "" {
		text += " (" + m.State + ")"
	}
	return d.fit(text, (d.right-d.left)*0.7)
}

func priorityRole(p alarm.Priority) role {
	switch p {
	case alarm.High:
		return high
	case alarm.Medium:
		return medium
	default:
		return low
	}
}

// alarmLanes draws the alarms: a symbol of the priority with the name, and a bar of the
// time below.
func (d *drawing) alarmLanes() {
	y := d.laneTop()
	for _, l := range d.alarms {
		for _, p := range l {
			r := priorityRole(p.mark.Priority)
			d.put("<g>")
			d.title(d.tell(p.mark))
			if p.text != "" || !d.grouped {
				d.symbol(p.mark.Priority, p.textX+5, y+laneHeight/2-3)
			}
			if p.text != "" {
				d.text(p.textX+symbolWidth, y+laneHeight-barHeight-5, start, r, "", p.text)
			}
			d.bar(p.mark, p.from, p.to, y+laneHeight-barHeight-1)
			d.raw("</g>\n")
		}
		y += laneHeight
	}
	if d.more > 0 {
		text := fmt.Sprintf("and %d more alarms that find no room here", d.more)
		d.text(d.left, y+d.size, start, muted, "", d.fit(text, d.right-d.left))
	}
}

// bar is how long an alarm stood: solid, striped or hollow by priority, and open where it
// goes on.
func (d *drawing) bar(m *Mark, from, to, y float64) {
	r := priorityRole(m.Priority)
	switch m.Priority {
	case alarm.High:
		d.rect(from, y, to-from, barHeight-1, d.paint(r, none))
	case alarm.Medium:
		d.straight(from, y+2.5, to, y+2.5, ` stroke-width="5" stroke-dasharray="4 2"`+d.paint(none, r))
	default:
		d.rect(from+0.5, y+0.5, max(to-from-1, 1), barHeight-2, d.paint(none, r))
	}
	if m.To.IsZero() || m.To.After(d.p.To) {
		var p path
		p.move(to, y-2)
		p.line(to+6, y+2.5)
		p.line(to, y+7)
		d.stroke(&p, d.paint(r, none))
	}
}

// symbol of a priority: a triangle, a diamond, a ring.
func (d *drawing) symbol(priority alarm.Priority, x, y float64) {
	var p path
	r := priorityRole(priority)
	switch priority {
	case alarm.High:
		p.move(x-5, y+4)
		p.line(x, y-5)
		p.line(x+5, y+4)
		d.stroke(&p, d.paint(r, none))
	case alarm.Medium:
		p.move(x-5, y)
		p.line(x, y-5)
		p.line(x+5, y)
		p.line(x, y+5)
		d.stroke(&p, d.paint(r, none))
	default:
		d.put(`<circle cx="%s" cy="%s" r="3.5" stroke-width="2"%s/>`, px(x), px(y), d.paint(none, r))
	}
}

// highSpans marks the times of alarms of high priority through all panels.
func (d *drawing) highSpans() {
	for _, l := range d.alarms {
		for _, a := range l {
			if a.mark.Priority != alarm.High {
				continue
			}
			for i := range d.plots {
				p := &d.plots[i]
				d.rect(a.from, p.top, a.to-a.from, p.bottom-p.top, ` fill-opacity=".10"`+d.paint(high, none))
				d.straight(a.from, p.top, a.from, p.bottom, ` stroke-dasharray="2 2"`+d.paint(none, high))
			}
		}
	}
}

// tell is an alarm or another mark in words.
func (d *drawing) tell(m *Mark) string {
	var b strings.Builder
	if m.Kind != Alarm {
		b.WriteString(kindNames[min(m.Kind, Commissioning)])
		if m.Name != "" {
			b.WriteString(" ")
		}
	}
	b.WriteString(m.Name)
	if m.Kind == Alarm {
		fmt.Fprintf(&b, ", %v priority", m.Priority)
	}
	if m.State != "" {
		b.WriteString(", " + m.State)
	}
	const format = "Jan 2 15:04"
	fmt.Fprintf(&b, ", %s", m.From.In(d.zone).Format(format))
	switch {
	case !m.lasting():
	case m.To.IsZero():
		b.WriteString(" and on")
	default:
		fmt.Fprintf(&b, " to %s", m.To.In(d.zone).Format(format))
	}
	return b.String()
}
