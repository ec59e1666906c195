package signal

import (
	"math"
	"slices"
)

// Line is a straight line through samples, by the median of the slopes of all pairs.
type Line struct {
	Slope float64 // value a second
	// Low and High enclose the slope with the confidence that was asked for.
	Low, High float64
	// Time and Level are a point of the line: the medians of times and values.
	Time, Level float64
	Samples     int // how many usable ones it rests on
}

// At returns the line's value at time t.
func (l Line) At(t float64) float64 { return l.Level + mul(l.Slope, t-l.Time) }

// TheilSenScratch returns how much scratch TheilSen needs for n samples.
func TheilSenScratch(n int) int { return 2*n + max(n, n*(n-1)/2) }

// TheilSen fits a line through the samples: its slope is the median of (vⱼ − vᵢ)/(tⱼ − tᵢ)
// over all pairs of different times, and it passes through the medians of t and v
// (Theil 1950; Sen 1968, J. Am. Stat. Assoc. 63, 1379). Up to 29 % of the samples may be
// anything.
//
// Low and High are Sen's interval: of the N slopes in order, number (N − z·σ)/2 and number
// (N + z·σ)/2 + 1, with Kendall's σ corrected for ties and z the standard normal quantile of the confidence
// wanted (1.96 for 95 %). It supposes independent samples: of a smooth signal it is too
// narrow.
//
// Values are in any unit, times in s; the order of the samples is free. Unusable samples
// are left out (Line.Samples counts the others). It reports false when no two samples
// are apart in time. scratch holds at least TheilSenScratch(len(t)) numbers and is
// overwritten; TheilSen panics when it is shorter or t and v differ in length. The cost
// grows with the square of the number of samples.
func TheilSen(t, v []float64, z float64, scratch []float64) (Line, bool) {
	if len(t) != len(v) || len(scratch) < TheilSenScratch(len(t)) {
		panic("signal: TheilSen: lengths do not fit")
	}
	t, v, scratch = gather(t, v, scratch)
	if len(t) < 2 {
		return Line{}, false
	}
	// Each median reorders its copy; tied has sorted it, which makes it quick.
	var line Line
	line.Samples = len(t)
	spare := scratch[:len(t)]
	copy(spare, t)
	variance := kendall(float64(len(t))) - tied(spare)
	line.Time = median(spare)
	copy(spare, v)
	variance -= tied(spare)
	line.Level = median(spare)

	n := 0
	for i := range t {
		for j := i + 1; j < len(t); j++ {
			if dt := t[j] - t[i]; math.Abs(dt) >= minStep {
				scratch[n] = (v[j] - v[i]) / dt
				n++
			}
		}
	}
	if n == 0 {
		return Line{}, false
	}
	slopes := scratch[:n]
	line.Slope = median(slopes)
	// The median has split the slopes in two: each end of the interval is in its half.
	half := mul(math.Abs(z), math.Sqrt(max(0, variance)/18))
	low := rank(math.RoundToEven((float64(n)-half)/2)-1, n)
	high := rank(math.RoundToEven((float64(n)+half)/2), n)
	middle := n / 2
	line.Low = Nth(slopes[:middle+1], min(low, middle))
	line.High = Nth(slopes[middle:], max(high, middle)-middle)
	return line, true
}

// rank turns r into an index of n numbers.
func rank(r float64, n int) int {
	if !(r > 0) {
		return 0
	}
	return int(min(r, float64(n-1)))
}

// kendall returns k(k−1)(2k+5): 18 times the variance of Kendall's S for k samples, and
// what k equal ones take from it.
func kendall(k float64) float64 { return mul(k*(k-1), mul(2, k)+5) }

// tied returns what equal numbers take from the variance; it sorts x.
func tied(x []float64) float64 {
	slices.Sort(x)
	sum, run := 0.0, 1
	for i := 1; i <= len(x); i++ {
		if i < len(x) && x[i] == x[i-1] {
			run++
			continue
		}
		sum += kendall(float64(run))
		run = 1
	}
	return sum
}

// gather copies the usable samples into scratch and returns what is left of it.
func gather(t, v, scratch []float64) (times, values, rest []float64) {
	n := 0
	times, values, rest = scratch[:len(t)], scratch[len(t):2*len(t)], scratch[2*len(t):]
	for i := range t {
		if judge(t[i], maxTime) == Accepted && judgeValue(v[i]) == Accepted {
			times[n], values[n] = t[i], v[i]
			n++
		}
	}
	return times[:n], values[:n], rest
}

// RepeatedMedian returns the slope of a line through the samples as the median over all
// samples of the median slope to the others (Siegel 1982, Biometrika 69, 242). Up to
// half of the samples may be anything, for a less precise slope than TheilSen's where
// none is. Units, order, unusable samples and panics as there; scratch holds at least
// 4·len(t) numbers.
func RepeatedMedian(t, v, scratch []float64) (slope float64, ok bool) {
	if len(t) != len(v) || len(scratch) < 4*len(t) {
		panic("signal: RepeatedMedian: lengths do not fit")
	}
	t, v, scratch = gather(t, v, scratch)
	medians, others := scratch[:0:len(t)], scratch[len(t):]
	for i := range t {
		n := 0
		for j := range t {
			if dt := t[j] - t[i]; math.Abs(dt) >= minStep {
				others[n] = (v[j] - v[i]) / dt
				n++
			}
		}
		if n > 0 {
			medians = append(medians, median(others[:n]))
		}
	}
	if len(medians) == 0 {
		return 0, false
	}
	return median(medians), true
}
