package setting

import "math"

// leverage is how far apart two marks must be read to tell what a mark is worth.
const leverage = 1.0

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

// Next returns the mark at which a further reading tells most: the recommended one, but the
// first step away from a mark is a whole one, towards it where there is room.
func (p *Problem) Next(f Fit) float64 {
	next := p.Recommended(f)
	if f.Marks >= 2 {
		return next
	}
	at := p.Readings[len(p.Readings)-1].Mark
	if math.Abs(next-at) >= leverage {
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
