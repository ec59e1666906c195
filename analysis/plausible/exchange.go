package plausible

import (
	"math"
	"time"

	"fluewright/analysis/frame"
)

// Two channels were exchanged if each took on the other's value at once. A wire leaves no
// lag behind; where a log has one it is gone after minutes.
const (
	lastTemperature = frame.Outdoor
	exchangeAge     = 15 * time.Minute // a reading from before a gap, to compare with
	exchangeShare   = 0.15             // of the difference that may be missing
	exchangeSlack   = 1.0              // K more
	exchangeLeast   = 6.0              // K of difference from one frame to the next, in air
	exchangeMixed   = 25.0             // K, of gas and air
	exchangeGas     = 40.0             // K, in gas
	exchangeGap     = 20.0             // K across a gap
	exchangeNoise   = 8.0              // times the noise
	confirmFor      = 10 * time.Second
	confirmBy       = 4 // readings,
	confirmAtOnce   = 2 // where the frames before and after it were no further apart than
	frequent        = 10 * time.Second
	slowExchange    = 8     // marks
	slowLeast       = 150.0 // K of difference, in gas
	slowLeastAir    = 15.0  // K, in air
	alike           = 10.0  // K: too little to tell them apart
	alikeAir        = 2.0
	alikeFor        = 10 * time.Minute
)

// pending is an exchange that is to be confirmed by the readings that follow. For
// confirmFor it counts as one: nothing else makes two readings each other's in one frame,
// and a reading that is in another one's place must not be held against that one's limit.
type pending struct {
	a, b     frame.Channel // the same: none
	wasA     float64       // their levels before
	wasB     float64
	least    float64
	sumA     float64
	sumB     float64
	readings int
	enough   int // of them
	lasted   time.Duration
}

// exchanged compares a frame with the levels before it.
func (r *Rules) exchanged(in Inputs, dt time.Duration) {
	o := &r.order
	if !o.ready {
		o.ready = true
		for c := range o.with {
			o.with[c] = frame.Channel(c)
		}
	}
	if o.pending.a != o.pending.b {
		o.confirm(in, dt)
		return
	}
	for a := frame.Firebox; a < lastTemperature; a++ {
		ca := &r.courses[a]
		if !in.Values.Has(a) || !ca.has || math.Abs(in.Values[a]-ca.level) < exchangeLeast/2 {
			continue
		}
		for b := a + 1; b <= lastTemperature; b++ {
			cb := &r.courses[b]
			if !in.Values.Has(b) || !cb.has || ca.missing > exchangeAge || cb.missing > exchangeAge {
				continue
			}
			least := leastApart(a, b)
			if ca.count == 0 || cb.count == 0 || ca.missing > 0 || cb.missing > 0 {
				least = max(least, exchangeGap)
			}
			least = max(least, float64(exchangeNoise*math.Sqrt(max(ca.usual, cb.usual))))
			// At once: until now both were where they had been.
			if swapped(ca.level, cb.level, in.Values[a], in.Values[b], least) &&
				swapped(ca.raw, cb.raw, in.Values[a], in.Values[b], least/2) {
				o.pending = pending{a: a, b: b, wasA: ca.level, wasB: cb.level, least: least, enough: confirmBy}
				if ca.count > 0 && cb.count > 0 && dt+max(ca.missing, cb.missing) <= frequent {
					o.pending.enough = confirmAtOnce
				}
				o.confirm(in, 0)
				return
			}
		}
	}
}

// leastApart is the least difference at which two channels are told apart from two that
// cross, K: what is in the fire's gas crosses quickly.
func leastApart(a, b frame.Channel) float64 {
	switch {
	case gaseous(a, b):
		return exchangeGas
	case a <= frame.Flue:
		return exchangeMixed
	}
	return exchangeLeast
}

// confirm takes the frame for a confirmation of what is pending, or against it.
func (o *order) confirm(in Inputs, dt time.Duration) {
	p := &o.pending
	p.lasted += dt
	if a, b := in.Values[p.a], in.Values[p.b]; !math.IsNaN(a) && !math.IsNaN(b) {
		p.sumA += a
		p.sumB += b
		p.readings++
	}
	if p.lasted < confirmFor || p.readings < p.enough && p.lasted < exchangeAge {
		return
	}
	n := float64(p.readings)
	if p.readings >= p.enough && swapped(p.wasA, p.wasB, p.sumA/n, p.sumB/n, p.least) {
		o.exchange(p.a, p.b)
	}
	o.pending = pending{}
}

// swapped reports whether two values became each other.
func swapped(a0, b0, a1, b1, least float64) bool {
	apart := math.Abs(a0 - b0)
	slack := float64(exchangeShare*apart) + exchangeSlack
	return apart >= least && math.Abs(a1-b0) <= slack && math.Abs(b1-a0) <= slack
}

// provisional reports whether an exchange waits for its confirmation, and not for longer
// than a limit that was passed may wait.
func (p *pending) provisional() bool { return p.a != p.b && p.lasted < confirmFor }

// Place is where the sensor on a channel is, as far as is known: for a pair that was
// exchanged, the other one's channel, so that each reading can be held against the limit
// of its true place.
func (r *Rules) Place(c frame.Channel) frame.Channel {
	o := &r.order
	if !o.ready || c > lastTemperature {
		return c
	}
	p := &o.pending
	if p.provisional() && (c == p.a || c == p.b) {
		other := p.a + p.b - c
		if o.with[c] == other {
			return c // put right again
		}
		return other
	}
	at := o.with[c]
	if p.provisional() && (at == p.a || at == p.b) {
		return c // that one has gone elsewhere
	}
	return at
}
