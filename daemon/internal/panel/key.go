package panel

import (
	"fmt"

	"fluewright/analysis/alarm"
	"fluewright/analysis/burn"
)

// key explains one sign.
type key struct {
	text string
	draw func(x, y float64) // around the middle of a field of keyWidth
	x, y float64
}

const keyWidth = 22.0

// collectKeys finds the signs that need an explanation.
func (d *drawing) collectKeys() {
	var unnamed, seen [burn.Coals + 1]bool
	for _, r := range d.runs {
		seen[r.phase] = true
		unnamed[r.phase] = unnamed[r.phase] || !d.named(r)
	}
	for phase := range seen {
		if p := burn.Phase(phase); seen[phase] && unnamed[phase] {
			d.key(p.String(), func(x, y float64) {
				d.rect(x-11, y-6, 22, 12, d.paint(phaseRole(p), none))
				d.rect(x-11, y-6, 22, 12, fmt.Sprintf(` fill="url(#%s-%s)"`, d.prefix, p))
				d.rect(x-11, y-6, 22, 12, d.paint(none, edge))
			})
		}
	}
	var priorities [alarm.High + 1]bool
	for _, l := range d.alarms {
		for _, p := range l {
			priorities[min(p.mark.Priority, alarm.High)] = true
		}
	}
	for p := alarm.High; p >= alarm.Low; p-- {
		if priorities[p] {
			d.key(p.String()+" alarm", func(x, y float64) { d.symbol(p, x, y) })
		}
	}
	var events [kinds]bool
	for i := range d.p.Marks {
		if m := &d.p.Marks[i]; d.isEvent(m) {
			events[m.Kind] = true
		}
	}
	for k := Reload; k < kinds; k++ {
		if events[k] {
			d.key(kindNames[k], func(x, y float64) { d.eventSymbol(k, x, y) })
		}
	}
	d.collectPlotKeys()
}

// collectPlotKeys does so for what is inside the panels.
func (d *drawing) collectPlotKeys() {
	gap, forecast := false, false
	for i := range d.plots {
		p := &d.plots[i]
		gap = gap || len(p.missing) > 0
		for _, t := range p.Traces {
			forecast = forecast || len(t.Forecasts) > 0
		}
	}
	if forecast {
		d.key("forecast", func(x, y float64) {
			d.straight(x-11, y+3, x+11, y-3, ` stroke-width="2" stroke-dasharray="1.5 3" stroke-linecap="round"`+d.paint(none, ink))
		})
	}
	if gap {
		d.key("no reading", func(x, y float64) {
			d.rect(x-11, y-6, 22, 12, fmt.Sprintf(` fill="url(#%s-gap)"`, d.prefix))
			d.rect(x-11, y-6, 22, 12, d.paint(none, edge))
		})
	}
}

func (d *drawing) key(text string, draw func(x, y float64)) {
	d.keys = append(d.keys, key{text: text, draw: draw})
}

// layKeys places the keys in rows from y on and returns their height.
func (d *drawing) layKeys(y float64) float64 {
	if len(d.keys) == 0 {
		return 0
	}
	x, rows := margin, 1
	for i := range d.keys {
		k := &d.keys[i]
		w := keyWidth + 6 + d.width(k.text) + 14
		if x+w > float64(d.p.Width) && x > margin {
			x = margin
			rows++
		}
		k.x, k.y = x, y+(lineHeight+2)*float64(rows-1)+lineHeight/2
		x += w
	}
	return (lineHeight + 2) * float64(rows)
}

func (d *drawing) drawKeys() {
	for _, k := range d.keys {
		k.draw(k.x+keyWidth/2, k.y)
		d.text(k.x+keyWidth+6, k.y+0.36*d.size, start, muted, "", k.text)
	}
}

// definitions are the patterns of phases and gaps and the plots' clips.
func (d *drawing) definitions() {
	d.raw("<defs>\n")
	var seen [burn.Coals + 1]bool
	for _, r := range d.runs {
		seen[r.phase] = true
	}
	for phase, on := range seen {
		if on {
			d.pattern(burn.Phase(phase).String(), patterns[phase], hatch)
		}
	}
	d.pattern("gap", pattern{6, "m-1 7l8-8m-8 2l2-2m4 8l2-2"}, missing)
	for i := range d.plots {
		p := &d.plots[i]
		d.put(`<clipPath id="%s-clip%d">`, d.prefix, i)
		d.put(`<rect x="%s" y="%s" width="%s" height="%s"/></clipPath>`+"\n", px(d.left), px(p.top), px(d.right-d.left), px(p.bottom-p.top))
	}
	d.raw("</defs>\n")
}

// pattern is a tile of so many px with a path on it.
type pattern struct {
	tile int
	path string
}

// patterns of the phases: the more it burns the denser, and each its own.
var patterns = [burn.Coals + 1]pattern{
	burn.Unknown:   {8, "m3 4h2"},
	burn.Cold:      {12, "m0 5.5h12"},
	burn.Lighting:  {6, "m-1 7l8-8"},
	burn.WarmUp:    {3, "m-1 4l5-5"},
	burn.CleanBurn: {3, "m1.5 0v3"},
	burn.Smoulder:  {4, "m1 1h1m1 2h1"},
	burn.Coals:     {4, "m0 0l4 4m0-4l-4 4"},
}

func (d *drawing) pattern(name string, p pattern, r role) {
	d.put(`<pattern id="%s-%s" width="%d" height="%d" patternUnits="userSpaceOnUse"><path d="%s"%s/></pattern>`+"\n",
		d.prefix, name, p.tile, p.tile, "M0 0"+p.path, d.paint(none, r))
}
