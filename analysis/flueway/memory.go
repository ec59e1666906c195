package flueway

import "fluewright/analysis/drive"

// Memory is what is kept over weeks and restarts. The zero value has seen nothing.
type Memory struct {
	// Flames and Coals are the drafts of the sound chimney under flames and over coals.
	Flames, Coals Baseline
	// Fixed says that the baselines are those of commissioning, or rest on enough burns,
	// and learn no more: what learnt on would get used to the creosote.
	Fixed bool
	// Losses under flames and over coals of the latest burns.
	Losses, Onsets Recent
	// Restricted and Sudden are the finding that stands.
	Restricted, Sudden bool
}

// Baseline is a draft against the drive.
type Baseline struct {
	Burns int // that it rests on
	Bins  [drive.Bins]Reference
}

// Reference is one bin of a baseline.
type Reference struct {
	Burns int
	Draft float64 // Pa, mean over burns
	// Square is the sum of the squares of the burns' drafts about the mean, Pa².
	Square float64
}

// learnt is how many burns make a baseline, usable how many at the least.
const (
	learnt = 10
	usable = 3
)

// learn adds a burn's bins of drives between two, Pa/m.
func (b *Baseline) learn(h *heap, from, to float64) {
	any := false
	for i := range h {
		p := h[i]
		if !p.counts(from, to) {
			continue
		}
		any = true
		r := &b.Bins[i]
		r.Burns++
		off := p.Draft - r.Draft
		r.Draft += off / float64(r.Burns)
		r.Square += float64(off * (p.Draft - r.Draft))
	}
	if any {
		b.Burns++
	}
}

// take makes the curve of one burn the baseline, for want of a better one: what fell must
// be held against something to be seen to come back.
func (b *Baseline) take(c *drive.Curve) {
	*b = Baseline{Burns: usable}
	for i := range b.Bins {
		if p, ok := c.Seen(i); ok {
			b.Bins[i] = Reference{Burns: usable, Draft: p.Draft}
		}
	}
}

// Recent is the shares that the latest burns lost of the baseline's draft, the latest
// first; the first Burns of them count.
type Recent struct {
	Loss  [window]float64
	Burns int
}

// window is over how many burns a slow loss is told.
const window = 3

func (r *Recent) add(loss float64) {
	copy(r.Loss[1:], r.Loss[:window-1])
	r.Loss[0] = loss
	r.Burns = min(r.Burns+1, window)
}

// Median returns the median loss; of fewer than three burns the smallest.
func (r *Recent) Median() float64 {
	l := r.Loss
	switch r.Burns {
	case 0:
		return 0
	case 1:
		return l[0]
	case 2:
		return min(l[0], l[1])
	}
	return max(min(l[0], l[1]), min(max(l[0], l[1]), l[2]))
}

// valid reports whether the memory can have been written by this package.
func (m *Memory) valid() bool {
	return m.Flames.valid() && m.Coals.valid() && m.Losses.valid() && m.Onsets.valid()
}

func (b *Baseline) valid() bool {
	for _, r := range b.Bins {
		if r.Burns < 0 || r.Burns > b.Burns || !(r.Draft > -500 && r.Draft < 500) || !(r.Square >= 0 && r.Square < 1e9) {
			return false
		}
	}
	return b.Burns >= 0
}

func (r *Recent) valid() bool {
	for _, l := range r.Loss {
		if !(l > -1000 && l < 1000) {
			return false
		}
	}
	return r.Burns >= 0 && r.Burns <= window
}
