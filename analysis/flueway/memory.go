package flueway

import "fluewright/analysis/drive"

// Memory is what is kept over weeks and restarts. The zero value has seen nothing.
type Memory struct {
	Baseline Baseline
	// Losses are those of the latest burns, the latest first, as shares of the baseline's
	// draft at an equal drive; the first Burns of them count.
	Losses [window]float64
	Burns  int
	// Restricted and Sudden are the finding that stands.
	Restricted, Sudden bool
}

// window is over how many burns a slow loss is told.
const window = 3

// Baseline is the draft of the sound chimney against the drive.
type Baseline struct {
	// Burns is how many it rests on; Fixed says that it is that of commissioning, or has
	// enough, and learns no more: what learnt on would get used to the creosote.
	Burns int
	Fixed bool
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

// learn adds a burn.
func (b *Baseline) learn(h *heap) {
	if b.Fixed {
		return
	}
	hot := h.hottest()
	for i := range h {
		p := h[i]
		if !p.counts(hot) {
			continue
		}
		r := &b.Bins[i]
		r.Burns++
		off := p.Draft - r.Draft
		r.Draft += off / float64(r.Burns)
		r.Square += float64(off * (p.Draft - r.Draft))
	}
	b.Burns++
	b.Fixed = b.Burns >= learnt
}

// valid reports whether the memory can have been written by this package.
func (m *Memory) valid() bool {
	if m.Burns < 0 || m.Burns > window || m.Baseline.Burns < 0 {
		return false
	}
	for _, l := range m.Losses {
		if !(l >= -100 && l <= 100) {
			return false
		}
	}
	for _, r := range m.Baseline.Bins {
		if r.Burns < 0 || r.Burns > m.Baseline.Burns || !(r.Draft > -500 && r.Draft < 500) || !(r.Square >= 0 && r.Square < 1e9) {
			return false
		}
	}
	return true
}
