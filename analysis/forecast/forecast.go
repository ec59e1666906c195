package forecast

import (
	"math"
	"time"

	"fluewright/analysis/portable"
)

// Horizon is how far ahead a forecast looks.
const Horizon = 15 * time.Minute

// How much of the rise that the slope promises comes, as a share, and the error of that
// share. A first-order approach keeps all of it, a parabola half. A light-off, whose slope
// falls late, keeps less than a rise of a fire that burns already (by estimate, and then
// moved on nights made for tuning).
const (
	keptAtFirst = 0.6
	kept        = 0.8
	keptError   = 0.2
)

// Forecast is what is to be expected of one channel.
type Forecast struct {
	// Known is set when there were enough samples lately; nothing else counts otherwise.
	Known bool
	// Level is the reading without its noise, °C; Gas is what the gas around the sheath
	// has already come to.
	Level, Gas float64
	// Slope is in K/s, with its standard deviation.
	Slope, SlopeError float64
	// Settles is the time constant with which the rise fades, s; +Inf if it does not.
	Settles float64
	// Peak is the highest level to be expected within the horizon, with its standard
	// deviation, °C and K.
	Peak, PeakError float64
	// Probability is that of the limit being passed within the horizon, 0 to 1.
	Probability float64
	// Lasting is set while a climb that will pass the limit has gone on for so long that it
	// is not expected to end before it does.
	Lasting bool
	// Passes is set when the expected course passes the limit; At is then when, on the
	// frames' clock.
	Passes bool
	At     time.Duration
}

// project looks ahead from a state, as far as a rise is believed; lag is the sheath's in s.
func project(at time.Duration, s state, limit, lag float64, b belief) Forecast {
	f := Forecast{
		Known: s.known, Level: s.level, Slope: s.slope, SlopeError: s.slopeError,
		Gas: s.level + float64(lag*s.slope), Settles: math.Inf(1),
	}
	if !s.known {
		return f
	}
	if s.slope <= 0 {
		f.Settles = 0
		f.Peak, f.PeakError = s.level, s.noise
		f.Probability = beyond(s.level-limit, max(s.noise, float64(Horizon.Seconds()*s.slopeError/4)))
		return f
	}
	if s.curvature < 0 {
		f.Settles = -s.slope / s.curvature
	}
	if b.back {
		lag = 0
	}
	// However quickly the gas settles, the sheath still comes after it.
	settles := max(min(f.Settles, b.longest), lag)
	fade := fades(settles)
	// A slope that may be noise promises nothing.
	sure := max(0, s.slope-s.slopeError)
	rise := float64(sure * fade)
	if over := max(b.burstsOver, lag); b.burst > 0 && over < settles {
		rise -= float64(min(b.burst, sure) * (fade - fades(over)))
	}
	f.Peak = s.level + float64(b.share*rise)
	model := float64(keptError * rise)
	slope := float64(b.share * s.slopeError * fade)
	f.PeakError = root(float64(model*model) + float64(slope*slope) + float64(s.noise*s.noise/4))
	f.Probability = beyond(f.Peak-limit, f.PeakError)
	f.Passes, f.At = crossing(at, s, limit, min(f.Settles, straight))
	return f
}

// fades is for how long a slope goes on that fades with a time constant, within the horizon, s.
func fades(settles float64) float64 {
	return float64(settles * (1 - portable.Exp(-Horizon.Seconds()/settles)))
}

// straight is a time constant in s so long that the rise is a straight line.
const straight = 1e6

// crossing is when the expected course passes the limit: level + s·D·(1 − exp(−t/D)).
func crossing(at time.Duration, s state, limit, settles float64) (bool, time.Duration) {
	left := limit - s.level
	if left <= 0 {
		return true, at
	}
	whole := float64(s.slope * settles)
	if left >= whole {
		return false, 0
	}
	t := float64(-settles * portable.Log(1-left/whole))
	if !(t <= Horizon.Seconds()) {
		return false, 0
	}
	return true, at + time.Duration(math.Round(t*1e3))*time.Millisecond
}

// beyond is the probability that a logistic variable of mean d and the standard deviation
// sd is above zero. 1.8138 is π/√3.
func beyond(d, sd float64) float64 {
	if sd <= 0 {
		sd = 1e-9
	}
	z := max(-50, min(50, 1.813799364234218*d/sd))
	return 1 / (1 + portable.Exp(-z))
}

// root is the square root that takes a variance which rounding made negative for none.
func root(v float64) float64 { return math.Sqrt(max(0, v)) }
