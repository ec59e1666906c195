// Package setting finds the mark of a barometric regulator at which a chimney has the draft
// that the appliance asks for, from a few settled readings at different marks. It changes
// when the model of a scale or the prior does; the physics of the gate is package
// regulator, whether a reading is settled package settle.
//
// The draft at mark m is taken as
//
//	p = max(L, min(U, specified + b (m - m*))),   b > 0
//
// with m* the mark that is wanted, b what a mark is worth, U what the chimney gives with
// its gate shut and L what it keeps with the gate wide open: a regulator cannot raise a
// draft, and takes only so much, so that at either end of the scale nothing may change any
// more. The posterior of the four is summed on a grid; the mark's interval holds 90 % of it. Between readings the fire moves a little: readings are brought to the
// drive of the latest one by the exponent that package drive has for a working gate,
// 0.1 to 0.3, with that range as uncertainty.
//
// Prior: about mark 3 for a chimney of 25 to 35 ft, 4 for one storey (common practice, no
// source), ±2 marks. Measured data overrule it: two readings a mark apart with an error of
// half a mark each leave a tenth of the weight to it.
//
// SI; pure, and the same bits on every architecture.
package setting

import (
	"math"

	"fluewright/analysis/portable"
)

// Reading is the settled draft at one mark.
type Reading struct {
	Mark  float64 `json:"mark"`
	Draft float64 `json:"draft"` // Pa
	Error float64 `json:"error"` // Pa, standard error
	Drive float64 `json:"drive"` // Pa/m, see package drive; 0: not known
}

// Scale is what is printed on the regulator.
type Scale struct {
	Low  float64 `json:"low"`
	High float64 `json:"high"`
}

// Problem is what is to be solved.
type Problem struct {
	Readings  []Reading
	Specified float64 // Pa, the draft that the mark is wanted for
	Scale     Scale
	Height    float64 // m, of the chimney; 0: not known
	Ceiling   float64 // Pa, predicted or measured with the gate held shut; 0: not known
	// CeilingError is the relative standard error of Ceiling; 0: that of a prediction.
	CeilingError float64
}

// Fit is what the readings say.
type Fit struct {
	Mark      float64 `json:"mark"` // median
	Low, High float64 // marks, interval of 90 %
	Slope     float64 `json:"slope"`      // Pa a mark, median
	SlopeLow  float64 `json:"slope_low"`  // interval of 90 %
	SlopeHigh float64 `json:"slope_high"` //
	// Short is the probability that the chimney does not give the specified draft at any
	// mark, the gate being shut already; Over that it leaves more than that at any mark, the
	// gate being wide open.
	Short   float64 `json:"short"`
	Over    float64 `json:"over"`
	Ceiling float64 `json:"ceiling"` // Pa, median of what the shut gate would give
	Marks   int     `json:"marks"`   // different marks that were read
}

// What is known before anything was read, and how well a hand sets a mark.
const (
	practiceSpread = 2.0  // marks
	handError      = 0.1  // marks, reading an edge on a scale and the weight's play
	scaleBow       = 0.04 // of the draft's change: a scale is not even
	readingError   = 0.01 // of the draft: wind and fire are not the same from one reading to the next
	leastError     = 0.02 // Pa
	leastDrive     = 0.05 // Pa/m, of gas a kelvin warmer than the air: less counts as this
	exponent       = 0.2  // of draft in drive with a working gate
	exponentSpread = 0.08
	lowestSet      = 5.0  // Pa, makers' lowest and highest setting
	highestSet     = 20.0 // Pa
	slopeSpread    = 0.5  // of ln b
	ceilingSpread  = 0.35 // of ln U, where it was predicted
	usualCeiling   = 35.0 // Pa, where nothing is known
	storey         = 4.9  // m (16 ft), one storey and its attic
	tall           = 9.1  // m (30 ft)
)

// Practice returns the mark that common practice would begin with for a chimney of a
// height in m: 4 for one storey, 3 for 25 to 35 ft, a straight line between; no source.
// Without a height 3.5.
func Practice(height float64) float64 {
	if !(height > 0) {
		return 3.5
	}
	return max(2.5, min(4.5, 4-(height-storey)/(tall-storey)))
}

// The grid.
const (
	marks    = 97
	slopes   = 13
	ceilings = 11
	floors   = 7
	beyond   = 3.0 // marks that the grid goes past the scale
)

// open is the share of the shut gate's draft that a gate wide open leaves, and openSpread
// the standard deviation of its logarithm: computed with package regulator for 4 to 12 m
// and a gate of the chimney's width it is 0.2 to 0.5.
const open, openSpread = 0.32, 0.4

// axis is one parameter on its grid: the values and by how many standard deviations each
// lies off the prior's median.
type axis struct{ value, off, weight []float64 }

// spread returns n values spread evenly in the logarithm over ±2.6 standard deviations
// about a median.
func spread(median, deviation float64, n int) axis {
	a := axis{make([]float64, n), make([]float64, n), make([]float64, n)}
	for i := range n {
		a.off[i] = float64(5.2*float64(i))/float64(n-1) - 2.6
		a.value[i] = float64(median * portable.Exp(float64(deviation*a.off[i])))
	}
	return a
}

// along returns n values spread evenly from lo on, with a prior about a median.
func along(lo, step, median, deviation float64, n int) axis {
	a := axis{make([]float64, n), make([]float64, n), make([]float64, n)}
	for i := range n {
		a.value[i] = lo + float64(float64(i)*step)
		a.off[i] = (a.value[i] - median) / deviation
	}
	return a
}

// Solve returns what the readings say; false without one, or where the scale or the
// specified draft mean nothing. It takes some 100,000 evaluations: once a reading, not once
// a tick.
func (p *Problem) Solve() (Fit, bool) {
	span := p.Scale.High - p.Scale.Low
	if len(p.Readings) == 0 || !(span > 0 && span < 1e3) || !(p.Specified > 0 && p.Specified < 1e3) {
		return Fit{}, false
	}
	drafts, errs, ok := p.equalised()
	if !ok {
		return Fit{}, false
	}
	ceiling, ceilingError := p.Ceiling, p.CeilingError
	if !(ceiling > 0) {
		ceiling, ceilingError = usualCeiling, 2*ceilingSpread
	} else if !(ceilingError > 0) {
		ceilingError = ceilingSpread
	}
	mark := along(p.Scale.Low-beyond, (span+2*beyond)/(marks-1), Practice(p.Height), practiceSpread, marks)
	slope := spread((highestSet-lowestSet)/span, slopeSpread, slopes)
	shut := spread(ceiling, ceilingError, ceilings)
	share := spread(open, openSpread, floors)

	cells := make([]float64, marks*slopes*ceilings*floors)
	best, at := math.Inf(-1), 0
	for i, m := range mark.value {
		for j, b := range slope.value {
			for k, u := range shut.value {
				for l, s := range share.value {
					prior := float64(mark.off[i]*mark.off[i]) + float64(slope.off[j]*slope.off[j]) +
						float64(shut.off[k]*shut.off[k]) + float64(share.off[l]*share.off[l])
					v := p.likelihood(drafts, errs, m, b, u, float64(s*u)) - float64(prior/2)
					cells[at] = v
					best = max(best, v)
					at++
				}
			}
		}
	}
	var f Fit
	total := 0.0
	at = 0
	for i := range mark.value {
		for j := range slope.value {
			for k, u := range shut.value {
				for _, s := range share.value {
					w := portable.Exp(cells[at] - best) // relative to the best, so that not all vanish
					at++
					mark.weight[i] += w
					slope.weight[j] += w
					shut.weight[k] += w
					total += w
					if u < p.Specified {
						f.Short += w
					}
					if float64(s*u) > p.Specified {
						f.Over += w
					}
				}
			}
		}
	}
	f.Short, f.Over = f.Short/total, f.Over/total
	f.Low, f.Mark, f.High = mark.quantile(0.05), mark.quantile(0.5), mark.quantile(0.95)
	f.SlopeLow, f.Slope, f.SlopeHigh = slope.quantile(0.05), slope.quantile(0.5), slope.quantile(0.95)
	f.Ceiling = shut.quantile(0.5)
	f.Marks = p.different()
	return f, true
}

// likelihood returns the logarithm of it for a mark, a slope and the two ends.
func (p *Problem) likelihood(drafts, errs []float64, mark, slope, ceiling, floor float64) float64 {
	sum, variances := 0.0, 1.0
	for r, in := range p.Readings {
		move := float64(slope * (in.Mark - mark))
		want := p.Specified + move
		variance := float64(errs[r]*errs[r]) + float64(scaleBow*scaleBow*float64(move*move))
		switch {
		case want > ceiling:
			want = ceiling
		case want < floor:
			want = floor
		default:
			variance += float64(slope * slope * handError * handError)
		}
		off := drafts[r] - want
		sum += float64(off*off) / (2 * variance)
		variances *= variance
	}
	return -sum - float64(portable.Log(variances)/2)
}

// equalised brings the readings to the drive of the latest one.
func (p *Problem) equalised() (drafts, errs []float64, ok bool) {
	last := p.Readings[len(p.Readings)-1].Drive
	for _, r := range p.Readings {
		if !(r.Draft > -1e3 && r.Draft < 1e3 && r.Error >= 0 && r.Error < 1e3 && r.Mark > -1e3 && r.Mark < 1e3) {
			return nil, nil, false
		}
		own := float64(readingError * r.Draft)
		draft, err := r.Draft, math.Sqrt(float64(r.Error*r.Error)+float64(own*own)+leastError*leastError)
		if r.Drive > 0 && last > 0 && draft > 0 {
			ratio := portable.Log(max(last, leastDrive) / max(r.Drive, leastDrive))
			draft *= portable.Exp(float64(exponent * ratio))
			doubt := float64(exponentSpread * ratio * draft)
			err = math.Sqrt(float64(err*err) + float64(doubt*doubt))
		}
		drafts, errs = append(drafts, draft), append(errs, err)
	}
	return drafts, errs, true
}

// different counts the marks that were read, a quarter of a mark apart at least.
func (p *Problem) different() int {
	n := 0
	for i, r := range p.Readings {
		fresh := true
		for _, q := range p.Readings[:i] {
			fresh = fresh && math.Abs(q.Mark-r.Mark) >= 0.25
		}
		if fresh {
			n++
		}
	}
	return n
}

// quantile returns where the share of the weights lies below, straight between the values.
func (a *axis) quantile(share float64) float64 {
	total := 0.0
	for _, w := range a.weight {
		total += w
	}
	want, sum := float64(share*total), 0.0
	for i, w := range a.weight {
		if sum+w >= want && w > 0 {
			half := float64((a.value[max(i, 1)] - a.value[max(i, 1)-1]) / 2)
			return a.value[i] - half + float64(2*half*(want-sum)/w)
		}
		sum += w
	}
	return a.value[len(a.value)-1]
}
