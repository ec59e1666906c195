package panel

import (
	"fmt"
	"strings"
)

// told is how many alarms the description names.
const told = 20

// describe says in words what the picture shows, for who cannot see it.
func (d *drawing) describe() string {
	var b strings.Builder
	fmt.Fprintf(&b, "%s.", d.window())
	for i := range d.plots {
		p := &d.plots[i]
		for j, t := range p.Traces {
			var all Column
			for _, c := range p.columns[j] {
				all.merge(c)
			}
			if all.empty() {
				fmt.Fprintf(&b, " %s, %s: no reading.", p.Title, t.Name)
				continue
			}
			lo, _ := write(p.Quantity, d.p.Units, all.Min)
			hi, unit := write(p.Quantity, d.p.Units, all.Max)
			fmt.Fprintf(&b, " %s, %s: %s to %s %s, ", p.Title, t.Name, lo, hi, unit)
			switch v, known, now := d.last(&t); {
			case !now:
				b.WriteString("none at the end.")
			case known:
				last, _ := write(p.Quantity, d.p.Units, v)
				fmt.Fprintf(&b, "last %s.", last)
			default:
				b.WriteString("read to the end.")
			}
		}
	}
	n := 0
	for i := range d.p.Marks {
		if m := &d.p.Marks[i]; m.Kind == Alarm && d.seen(m.From, d.until(m)) {
			if n++; n <= told {
				fmt.Fprintf(&b, " Alarm: %s.", d.tell(m))
			}
		}
	}
	if n > told {
		fmt.Fprintf(&b, " And %d more alarms.", n-told)
	}
	return b.String()
}
