package path

import (
	"fmt"
	"time"

	"fluewright/sensors"
)

// Opts says what is known of the chip and of what hangs on it. The zero value lets
// everything pass.
type Opts struct {
	// Burst is over how many looks the median is taken, at most MaxBurst; 0 and 1 take
	// none.
	Burst int
	// Probe is set for a thermocouple.
	Probe *Probe
	// Hose is the noise that the differential-pressure sensor has of its own, as a
	// standard deviation in Pa; zero for any other chip.
	Hose float64
	// FrozenAfter is how long a chip with noise may repeat itself; zero if it may for ever.
	FrozenAfter time.Duration
}

// Probe is a thermocouple and where it is.
type Probe struct {
	// TimeConstant of the sheath in moving gas; zero if it is not known.
	TimeConstant time.Duration
	// Noise is the standard deviation that the amplifier has at rest or one step of its
	// last digit, whichever is larger, K.
	Noise float64
	// Indoors: what it measures is never much colder than the amplifier's terminals.
	Indoors bool
}

// MaxBurst is the longest burst.
const MaxBurst = 9

// Counts is what the path did since it was made.
type Counts struct {
	Spikes uint64 // samples withheld
	Frozen uint64 // looks that found a value frozen
	Jumps  uint64 // jumps of the cold junction
}

// Path is the way of one chip's samples. It is used by one goroutine.
type Path struct {
	opts     Opts
	burst    burst
	spike    spike
	frozen   frozen
	junction junction
	hose     hose
	counts   Counts
}

// New makes a path that has seen nothing.
func New(o Opts) (*Path, error) {
	switch {
	case o.Burst < 0 || o.Burst > MaxBurst:
		return nil, fmt.Errorf("burst of %d looks: want at most %d", o.Burst, MaxBurst)
	case o.Hose < 0 || o.FrozenAfter < 0:
		return nil, fmt.Errorf("noise of %g Pa, frozen after %v: want neither below zero", o.Hose, o.FrozenAfter)
	case o.Probe != nil && (o.Probe.Noise <= 0 || o.Probe.TimeConstant < 0):
		return nil, fmt.Errorf("probe with noise of %g K and a time constant of %v: want noise above zero", o.Probe.Noise, o.Probe.TimeConstant)
	}
	p := &Path{opts: o}
	if o.Probe != nil {
		p.spike = newSpike(*o.Probe)
	}
	return p, nil
}

// Counts returns what was done so far.
func (p *Path) Counts() Counts { return p.counts }

// Step takes the sample of a look at time at. ok is false, without an error, while a
// spike is withheld. The error is a *sensors.Fault without its device. It does not
// allocate unless there is a fault.
func (p *Path) Step(s sensors.Sample, at time.Time) (out sensors.Sample, ok bool, err error) {
	if s.Taken.IsZero() {
		s.Taken = at
	}
	if p.opts.FrozenAfter > 0 && p.frozen.step(&s, p.opts.FrozenAfter) {
		p.counts.Frozen++
		return sensors.Sample{}, false, &sensors.Fault{
			Code:   sensors.Frozen,
			Detail: fmt.Sprintf("the same for %d looks in %v", p.frozen.looks, p.frozen.lasted.Round(time.Second)),
		}
	}
	if p.opts.Hose > 0 && p.hose.step(&s, p.opts.Hose) {
		doubt(&s, sensors.TubeBlocked)
	}
	s = p.burst.step(s, p.opts.Burst)
	if p.opts.Probe == nil {
		return s, true, nil
	}
	hot, _ := s.Get(sensors.HotJunction)
	if p.spike.step(at, hot) {
		p.counts.Spikes++
		return sensors.Sample{}, false, nil
	}
	if p.spike.noisy() {
		doubt(&s, sensors.Noisy)
	}
	return p.terminals(s, hot)
}

// terminals judges the hot junction against the cold one.
func (p *Path) terminals(s sensors.Sample, hot float64) (sensors.Sample, bool, error) {
	cold, ok := s.Get(sensors.ColdJunction)
	if !ok {
		return s, true, nil
	}
	if p.junction.jumped(s.Taken, cold) {
		p.counts.Jumps++
	}
	if p.junction.unsettled(s.Taken) {
		doubt(&s, sensors.ColdJunctionJump)
	}
	if p.opts.Probe.Indoors {
		switch p.junction.swapped(s.Taken, hot, cold) {
		case surely:
			return sensors.Sample{}, false, &sensors.Fault{
				Code:   sensors.WiresSwapped,
				Detail: fmt.Sprintf("%.1f °C with the terminals at %.1f °C", hot, cold),
			}
		case maybe:
			s.Doubt = sensors.WiresSwapped
		}
	}
	return s, true, nil
}

// Interrupt forgets what was measured last: after a fault, what comes next need not
// follow from it. What is told by many looks is kept.
func (p *Path) Interrupt() {
	p.burst = burst{}
	p.spike.forget()
}

// doubt leaves an earlier doubt alone: the chip's own comes first.
func doubt(s *sensors.Sample, c sensors.Code) {
	if s.Doubt == "" {
		s.Doubt = c
	}
}
