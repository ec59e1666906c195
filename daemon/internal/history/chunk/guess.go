package chunk

// How a count is guessed from those before it; the block says which guess its differences are
// from. Where the reading stands still or moves in steps the last count is best, where noise
// is all that moves it a mean, which carries less of it, and in a rise that is steeper than
// the noise the line through the last two.
const (
	fromLast = iota
	fromMean
	fromLongMean
	fromTrend
	guesses

	guessBits = 2
)

// The means are kept in 64ths, and so is the trend's rise from one count to the next.
const fraction = 6

// past is what the counts so far come to. Those of the first are 0.
type past struct {
	last, mean, longMean int64
	level, rise          int64
}

// guess is one of the guesses for the next count.
func (p *past) guess(which uint64) int64 {
	const half = 1 << (fraction - 1)
	switch which {
	case fromMean:
		return (p.mean + half) >> fraction
	case fromLongMean:
		return (p.longMean + half) >> fraction
	case fromTrend:
		return (p.level + p.rise + half) >> fraction
	default:
		return p.last
	}
}

// add takes a count in: the means follow it by a half and a fourth, the trend's level by a
// fourth and its rise by a 32nd of what they were off.
func (p *past) add(y int64) {
	p.last = y
	y <<= fraction
	p.mean += (y - p.mean) >> 2
	p.longMean += (y - p.longMean) >> 3
	off := y - p.level - p.rise
	p.level += p.rise + off>>2
	p.rise += off >> 6
}
