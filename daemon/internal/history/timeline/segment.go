package timeline

import "math"

// Segment is a stretch of one run in which its wall clock went straight on.
type Segment struct {
	// Run is the run's number: later runs have larger ones.
	Run int64
	// Kernel names the boot of the operating system, and Uptime is its age at the run's
	// zero: runs of one boot share a clock. Empty if that is not known.
	Kernel string
	Uptime int64
	// From and To bound it on the run's clock, To excluded.
	From, To int64
	// Seen is what the wall clock said at From, Trusted whether it was synchronised.
	Seen    int64
	Trusted bool
}

func (s *Segment) length() int64 { return s.To - s.From }

// shares reports whether both counted on the same clock.
func (s *Segment) shares(o *Segment) bool {
	return s.Run == o.Run || s.Kernel != "" && s.Kernel == o.Kernel
}

// Placed is a segment where it belongs.
type Placed struct {
	Segment
	// Wall is the wall time of From. Rate is how much of it passes while the run's clock
	// counts one: 1, or a little less where the clock turned out to have been ahead.
	Wall int64
	Rate float64
	// Sure says that it is tied to a synchronised clock.
	Sure bool
}

// At returns the wall time of a moment of the run.
func (p *Placed) At(ms int64) int64 {
	if p.Rate == 1 {
		return p.Wall + ms - p.From
	}
	return p.Wall + int64(math.Floor(float64(float64(ms-p.From)*p.Rate)))
}

// End is the wall time at which it is over.
func (p *Placed) End() int64 { return p.At(p.To) }

// Moment returns the moment of the run at wall time ms: the inverse of At, clipped to the
// segment.
func (p *Placed) Moment(wall int64) int64 {
	m := float64(p.From) + float64(wall-p.Wall)/p.Rate
	return int64(math.Ceil(min(max(m, float64(p.From)), float64(p.To))))
}
