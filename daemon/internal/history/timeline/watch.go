package timeline

// step is how far the wall clock may be from where it should be before that counts as a
// step: a clock that is slewed stays together with the monotonic one, and what is left is
// rounding.
const step = 250 // ms

// mostSegments bounds what a run with a mad clock can cost.
const mostSegments = 512

// Watch notes how a run's wall clock goes. Its zero value has seen nothing.
type Watch struct {
	began    bool
	trusted  bool
	offset   int64 // wall minus run
	segments int
}

// Observe takes one look at both clocks, in the order of the run's. It reports whether a
// segment begins here; what went before ends here.
func (w *Watch) Observe(ms, wall int64, trusted bool) bool {
	offset := wall - ms
	off := offset - w.offset
	straight := off <= step && off >= -step
	switch {
	case !w.began:
	case straight && (w.trusted || !trusted):
		return false // and a clock that was right and goes straight on is still right
	case w.segments >= mostSegments && (w.trusted || !trusted):
		return false
	}
	w.began, w.trusted, w.offset = true, trusted, offset
	w.segments++
	return true
}
