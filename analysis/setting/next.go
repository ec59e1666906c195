package setting

import "math"

// leverage is how far apart two marks must be read to tell what a mark is worth.
// tellsMore is how far from all that were read a third one must be.
const leverage, tellsMore = 1.0, 0.25

// certain is the largest width of the interval of 90 % at which a mark is recommended:
// half a mark to either side.
const certain = 1.0

// Certain reports whether the readings suffice to recommend a mark: two marks were read,
// and the interval is at most half a mark to either side.
func (f *Fit) Certain() bool { return f.Marks >= 2 && f.High-f.Low <= certain }

// Recommended returns the mark on the scale, to a quarter, that is nearest to the fitted
// one.
func (p *Problem) Recommended(f Fit) float64 {
	return max(p.Scale.Low, min(p.Scale.High, quarter(f.Mark)))
}

// Next returns the mark at which a further reading tells most: the recommended one; but a
// whole mark away from where one was read already, towards the recommended one where there
// is room, as reading there again would not tell what a mark is worth.
func (p *Problem) Next(f Fit) float64 {
	next := p.Recommended(f)
	at, apart := next, leverage
	if f.Marks >= 2 {
		apart = tellsMore
	}
	read := false
	for _, r := range p.Readings {
		if math.Abs(next-r.Mark) < apart {
			at, read = r.Mark, true
		}
	}
	if !read {
		return next
	}
	step := leverage
	if f.Mark < at {
		step = -leverage
	}
	if at+step < p.Scale.Low || at+step > p.Scale.High {
		step = -step
	}
	return max(p.Scale.Low, min(p.Scale.High, at+step))
}

func quarter(mark float64) float64 { return math.Floor(float64(mark*4)+0.5) / 4 }
