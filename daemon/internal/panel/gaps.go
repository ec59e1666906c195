package panel

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
