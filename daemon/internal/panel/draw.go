package panel

import (
	"fmt"
	"io"
	"slices"
	"strings"
	"time"
)

// narrow is the width below which a picture is drawn for a phone.
const narrow = 600

// drawing is a picture being drawn.
type drawing struct {
	canvas
	p           *Picture
	zone        *time.Location
	now         time.Time
	left, right float64 // of the plots, px
	y           float64 // how far down the picture is drawn
	top         float64 // of what lies on the time axis
	bottom      float64
	plots       []plot
	runs        []phaseRun
	eventRow    float64
	alarms      []lane
	more        int // alarms that found no lane
	grouped     bool
	keys        []key
}

// plot is a panel with its place.
type plot struct {
	*Panel
	scale
	first   int          // how many traces the panels before it have
	title   float64      // its base line
	columns [][]Column   // of each trace, one a pixel at most
	missing [][2]float64 // where nothing was read, px
	labels  []label
}

// Drawn is a picture with where its parts lie, CSS px, for whoever points at it.
type Drawn struct {
	SVG           []byte
	Width, Height float64
	// Left and Right are the ends of the time axis: From and To.
	Left, Right float64
	// Top and Bottom are those of all that lies on it.
	Top, Bottom float64
	// Words are the picture in words.
	Words string
}

// Draw draws the picture.
func (p Picture) Draw() (Drawn, error) {
	if err := p.validate(); err != nil {
		return Drawn{}, err
	}
	d := newDrawing(&p)
	d.draw()
	return Drawn{
		SVG: d.out.Bytes(), Width: float64(p.Width), Height: d.y,
		Left: d.left, Right: d.right, Top: d.top, Bottom: d.bottom, Words: d.describe(),
	}, nil
}

// WriteSVG draws the picture.
func (p Picture) WriteSVG(w io.Writer) error {
	d, err := p.Draw()
	if err != nil {
		return err
	}
	if _, err := w.Write(d.SVG); err != nil {
		return fmt.Errorf("write picture: %w", err)
	}
	return nil
}

func newDrawing(p *Picture) *drawing {
	d := &drawing{p: p, zone: p.Zone, now: p.Now}
	d.prefix, d.scheme = identifier(p.Prefix), p.Scheme
	if d.size = 12; p.Width < narrow {
		d.size = 11
	}
	if d.zone == nil {
		d.zone = time.UTC
	}
	if d.now.IsZero() || d.now.After(p.To) {
		d.now = p.To
	}
	return d
}

// The heights of the parts, px.
const (
	margin     = 8.0
	laneHeight = 24.0
	barHeight  = 6.0
	lineHeight = 16.0
)

func (d *drawing) draw() {
	d.measure()
	d.put(`<svg xmlns="http://www.w3.org/2000/svg" id="%s" width="%d" height="%s" viewBox="0 0 %d %s" role="img" aria-labelledby="%s-title %s-desc" font-family="system-ui,sans-serif" font-size="%s">`+"\n",
		d.prefix, d.p.Width, px(d.y), d.p.Width, px(d.y), d.prefix, d.prefix, px(d.size))
	d.put(`<title id="%s-title">`, d.prefix)
	d.escape(d.p.Title)
	d.put("</title>\n<desc id=\"%s-desc\">", d.prefix)
	d.escape(d.describe())
	d.raw("</desc>\n")
	d.definitions()
	d.rect(0, 0, float64(d.p.Width), d.y, d.paint(ground, none))
	d.head()
	d.grounds()
	d.timeAxis()
	d.phases()
	d.alarmLanes()
	d.drawEvents()
	for i := range d.plots {
		d.plot(&d.plots[i])
	}
	d.drawKeys()
	d.style()
	d.raw("</svg>\n")
}

// measure gives every part its place, from the top down.
func (d *drawing) measure() {
	d.y = margin + 2*lineHeight + 4
	d.measurePlots()
	d.runs = d.phaseRuns()
	d.top = d.y
	if len(d.p.Bands) > 0 {
		d.y += laneHeight
	}
	d.packAlarms()
	d.y += laneHeight * float64(len(d.alarms))
	if d.more > 0 {
		d.y += lineHeight
	}
	if d.eventRow = d.y; d.hasEvents() {
		d.y += laneHeight
	}
	height := 190.0
	if d.p.Width < narrow {
		height = 150
	}
	for i := range d.plots {
		p := &d.plots[i]
		d.y += lineHeight + 4
		p.title = d.y - 4
		p.top = d.y
		p.bottom = d.y + max(height, 6+lineHeight*float64(len(p.Traces)))
		d.y = p.bottom + 4
	}
	d.bottom = d.y
	d.y += 2*lineHeight + margin
	d.collectKeys()
	d.y += d.layKeys(d.y) + margin
}

// x is where a moment lies, within the plots.
func (d *drawing) x(t time.Time) float64 {
	switch {
	case !t.After(d.p.From):
		return d.left
	case !t.Before(d.p.To):
		return d.right
	}
	share := float64(t.Sub(d.p.From)) / float64(d.p.To.Sub(d.p.From))
	return d.left + float64(share*(d.right-d.left))
}

// seen reports whether something that lasts from one moment to another is in the picture.
func (d *drawing) seen(from, to time.Time) bool { return !to.Before(d.p.From) && from.Before(d.p.To) }

// head writes what the picture is and its time.
func (d *drawing) head() {
	room := float64(d.p.Width) - 2*margin
	big := d.size + 2
	d.text(margin, margin+big, start, ink, fmt.Sprintf(` font-size="%s" font-weight="bold"`, px(big)),
		d.fit(d.p.Title, room*d.size/big/1.1))
	d.text(margin, margin+big+lineHeight, start, muted, "", d.fit(d.window(), room))
}

// window is the picture's time in words.
func (d *drawing) window() string {
	if d.p.Elapsed {
		return "Hours and minutes from the start"
	}
	from, to := d.p.From.In(d.zone), d.p.To.In(d.zone)
	date, clock := dateFormat, ", 15:04"
	switch span := to.Sub(from); {
	case span < 10*time.Minute:
		clock = ", 15:04:05"
	case span > 20*day:
		date, clock = "Jan 2", ""
	}
	first, last := from.Format(date+clock), to.Format(date+clock)
	if from.Year() != to.Year() {
		first += from.Format(", 2006")
	} else if from.YearDay() == to.YearDay() {
		last = to.Format(strings.TrimPrefix(clock, ", "))
	}
	name := from.Format("MST")
	if other := to.Format("MST"); other != name {
		name += " to " + other
	}
	return fmt.Sprintf("%s to %s, %d (%s)", first, last, to.Year(), name)
}

// timeAxis draws the ticks through everything and their labels at the bottom.
func (d *drawing) timeAxis() {
	const apart = 4.4 // ems from tick to tick at least
	ticks, timesOfDay := d.ticks(int((d.right - d.left) / (apart * d.size)))
	var thin, thick path
	for _, t := range ticks {
		p := &thin
		if t.day != "" {
			p = &thick
		}
		p.move(d.x(t.at), d.top)
		p.vertical(d.bottom)
	}
	d.stroke(&thin, d.paint(none, grid))
	d.stroke(&thick, d.paint(none, edge))
	y, free := d.bottom+lineHeight-2, 0.0
	for _, t := range ticks {
		w := d.width(t.label)
		x := min(d.x(t.at), float64(d.p.Width)-w/2-2)
		if x-w/2 >= free {
			d.text(x, y, middle, muted, "", t.label)
			free = x + w/2 + 4
		}
	}
	if timesOfDay && !d.p.Elapsed {
		d.dates(ticks, y+lineHeight)
	}
	if x := d.x(d.now); d.now.Before(d.p.To) {
		for i := range d.plots {
			d.straight(x, d.plots[i].top, x, d.plots[i].bottom, d.paint(none, muted))
		}
	}
}

// dates writes the dates below the times of day, each at its midnight and the first at the
// left end, if another one leaves it room.
func (d *drawing) dates(ticks []tick, y float64) {
	first := d.p.From.In(d.zone).Format(dateFormat)
	free := d.left + d.width(first) + 8
	if i := slices.IndexFunc(ticks, func(t tick) bool { return t.day != "" }); i >= 0 && d.x(ticks[i].at) < free {
		free = 0
	} else {
		d.text(d.left, y, start, muted, "", first)
	}
	for _, t := range ticks {
		w := d.width(t.day)
		if x := min(d.x(t.at), float64(d.p.Width)-w-2); t.day != "" && x >= free {
			d.text(x, y, start, muted, "", t.day)
			free = x + w + 8
		}
	}
}
