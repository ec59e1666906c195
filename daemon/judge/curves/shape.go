package curves

import (
	"math"
	"time"
)

// pulse is what one load does to the intensity.
type pulse struct {
	from  time.Duration
	peak  float64
	tau   time.Duration // of the rise
	last  time.Duration // how long the flames last
	coals float64       // share of the peak that is left then
	fade  time.Duration // from flames to coals
	tail  time.Duration // of the coals
	shape int
}

// value is the pulse's share of the intensity.
func (l *pulse) value(at time.Duration) float64 {
	u := (at - l.from).Seconds()
	if u <= 0 {
		return 0
	}
	v := l.peak * rise(l.shape, u/l.tau.Seconds()) * (1 - 0.15*math.Min(1, u/l.last.Seconds()))
	if w := u - l.last.Seconds(); w > 0 {
		v *= l.coals*math.Exp(-w/l.tail.Seconds()) + (1-l.coals)*math.Exp(-w/l.fade.Seconds())
	}
	return v
}

// level makes peak the highest that the pulse comes to.
func (l *pulse) level() {
	most := 0.0
	for at := l.from; at < l.from+l.last; at += l.last / 200 {
		most = max(most, l.value(at))
	}
	l.peak *= l.peak / most
}

// rise goes from 0 to 1, most of it while x does so too.
func rise(shape int, x float64) float64 {
	switch shape {
	case 0:
		return 1 - math.Exp(-x)
	case 1: // logistic, nearly nothing at first
		return 1 / (1 + math.Exp(-4*(x-1.2)))
	case 2:
		return math.Min(1, x/1.8)
	default:
		s := math.Min(1, x/2.2)
		return s * s * (3 - 2*s)
	}
}

// door is an opening of a door: everything behind it dips.
type door struct {
	from, to time.Duration
	depth    float64 // share of the flue's rise above the room
	sag      float64 // share of the draft
}

// mark is one of the ways in which a hazard, or somebody, bends the curves. It comes on
// with a first-order lag and goes with another.
type mark struct {
	from, to time.Duration
	on, off  float64 // s

	intensity float64 // added to 1, as a factor
	flue      float64 // K added to the flue gas
	firebox   float64 // share taken from the firebox's rise
	draft     float64 // added to 1, as a factor on the draft
	push      float64 // Pa taken from the draft
	open      float64 // 1: the gate is shut for good, the draft is the chimney's own
	set       float64 // added to 1, as a factor on the set point
	roar      float64 // Pa of noise
	flutter   float64 // Pa of swing
	fan       float64 // 1: the blower stands
	filter    float64 // added to 1, as a factor on the air's rise

	now float64
}

func (m *mark) step(at time.Duration, dt float64) {
	aim, tau := 0.0, m.off
	if at >= m.from && at < m.to {
		aim, tau = 1, m.on
	}
	m.now += (aim - m.now) * (1 - math.Exp(-dt/tau))
}
