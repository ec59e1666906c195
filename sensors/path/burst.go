package path

import (
	"slices"

	"fluewright/sensors"
)

// burst keeps the latest samples of one chip.
type burst struct {
	ring [MaxBurst]sensors.Sample
	n    int // how many there are
	next int
}

// step returns, quantity by quantity, the median over the last looks, of an even number
// the higher one: a rise is rather seen early. The sample is as old as the oldest that
// a value was taken from and keeps the raw words and the doubt of the newest.
func (b *burst) step(s sensors.Sample, size int) sensors.Sample {
	if size < 2 {
		return s
	}
	b.ring[b.next] = s
	b.next = (b.next + 1) % size
	b.n = min(b.n+1, size)
	var at [MaxBurst]int
	for q := range sensors.Quantities {
		if _, ok := s.Get(q); !ok {
			continue
		}
		n := 0
		for i := range b.n {
			if _, ok := b.ring[i].Get(q); ok {
				at[n], n = i, n+1
			}
		}
		slices.SortFunc(at[:n], func(i, j int) int {
			x, _ := b.ring[i].Get(q)
			y, _ := b.ring[j].Get(q)
			switch {
			case x < y:
				return -1
			case x > y:
				return 1
			}
			// Of equal values the newest first, so that a steady one does not look old.
			return b.ring[i].Taken.Compare(b.ring[j].Taken)
		})
		middle := &b.ring[at[n/2]]
		v, _ := middle.Get(q)
		s.Set(q, v)
		if middle.Taken.Before(s.Taken) {
			s.Taken = middle.Taken
		}
	}
	return s
}
