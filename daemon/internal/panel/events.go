package panel

import "slices"

func (d *drawing) hasEvents() bool {
	return slices.ContainsFunc(d.p.Marks, func(m Mark) bool { return d.isEvent(&m) })
}

// isEvent reports whether a mark belongs into the row of events.
func (d *drawing) isEvent(m *Mark) bool {
	to := m.From
	if m.lasting() {
		to = d.until(m)
	}
	return m.Kind != Alarm && m.Kind < kinds && d.seen(m.From, to)
}

// inOrder returns the events by their time.
func (d *drawing) inOrder() []*Mark {
	var all []*Mark
	for i := range d.p.Marks {
		if d.isEvent(&d.p.Marks[i]) {
			all = append(all, &d.p.Marks[i])
		}
	}
	slices.SortStableFunc(all, func(a, b *Mark) int { return a.From.Compare(b.From) })
	return all
}

// drawEvents draws the row of what people did and were told: a symbol each, a name where
// there is room, and open doors as bars. What falls onto the same place is drawn once.
func (d *drawing) drawEvents() {
	var drawn [kinds]float64 // the latest of each kind
	var doors, reloads path
	open, laid := 0.0, 0.0 // until where a door was open, and the latest reload's line
	all := d.inOrder()
	for i, m := range all {
		x := d.x(m.From)
		if m.Kind == Door {
			if to := max(d.x(d.until(m)), x+2); to > open+0.5 {
				y := d.eventRow + laneHeight - barHeight
				doors.box(x, y, to, y+barHeight-2)
				open = to
			}
			continue
		}
		if m.Kind == Reload && x >= laid+2 {
			for i := range d.plots {
				reloads.move(x, d.plots[i].top)
				reloads.vertical(d.plots[i].bottom)
			}
			laid = x
		}
		if drawn[m.Kind] > 0 && x < drawn[m.Kind]+9 { // the symbols would touch
			continue
		}
		drawn[m.Kind] = x
		room := float64(d.p.Width) - margin
		if next := slices.IndexFunc(all[i+1:], func(m *Mark) bool { return m.Kind != Door }); next >= 0 {
			room = min(room, d.x(all[i+1+next].From)-7)
		}
		d.event(m, x, room)
	}
	d.stroke(&doors, d.paint(muted, none))
	d.stroke(&reloads, ` stroke-dasharray="1 3"`+d.paint(none, ink))
}

// event draws one at x; its name may reach to room.
func (d *drawing) event(m *Mark, x, room float64) {
	d.raw("<g>")
	d.title(d.tell(m))
	d.eventSymbol(m.Kind, x, d.eventRow+laneHeight/2-3)
	text := m.Name
	if text == "" {
		text = kindNames[m.Kind]
	}
	if x+8+d.width(text) <= room {
		d.text(x+8, d.eventRow+laneHeight-barHeight-5, start, ink, "", text)
	}
	d.raw("</g>\n")
}

// eventSymbol tells the kinds apart by shape.
func (d *drawing) eventSymbol(k Kind, x, y float64) {
	var p path
	attributes := d.paint(ink, none)
	switch k {
	case Reload: // a triangle that points down, onto the fire
		p.move(x-5, y-4)
		p.line(x+5, y-4)
		p.line(x, y+5)
	case Door: // a bar, for the key
		p.move(x-8, y-2)
		p.line(x+8, y-2)
		p.line(x+8, y+2)
		p.line(x-8, y+2)
		attributes = d.paint(muted, none)
	case Notice: // an i
		p.move(x, y-5)
		p.line(x, y-3)
		p.move(x, y-1)
		p.line(x, y+5)
		attributes = ` stroke-width="2.4"` + d.paint(none, ink)
	case Note: // a sheet
		p.move(x-4, y-5)
		p.line(x+4, y-5)
		p.line(x+4, y+5)
		p.line(x-4, y+5)
	default: // a cross
		p.move(x-4, y)
		p.line(x+4, y)
		p.move(x, y-5)
		p.line(x, y+5)
		attributes = ` stroke-width="2"` + d.paint(none, ink)
	}
	d.stroke(&p, attributes)
}
