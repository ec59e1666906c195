// Package frame holds what the analysis is given: all channels of one furnace at one
// tick, each value with its quality. It is data only.
package frame

import (
	"math"
	"time"
)

// Channel is one measured quantity at one place of the furnace.
type Channel uint8

// The channels. Temperatures in °C, pressures in Pa.
const (
	Firebox Channel = iota // gas in the firebox
	Chamber                // gasification chamber
	Flue                   // flue gas at the collar
	Plenum                 // warm-air supply
	Return                 // return air
	Room                   // air where the furnace stands
	Outdoor                // outdoor air
	Draft                  // room minus flue pressure: positive when the chimney pulls
	Ambient                // absolute pressure
	Count                  // how many there are
)

var names = [Count]string{"firebox", "chamber", "flue", "plenum", "return", "room", "outdoor", "draft", "ambient"}

// String returns the channel's name as topics, labels and configuration write it.
func (c Channel) String() string {
	if c < Count {
		return names[c]
	}
	return "unknown"
}

// Pressure reports whether the channel is in pascals; the others are in °C.
func (c Channel) Pressure() bool { return c == Draft || c == Ambient }

// Parse returns the channel called name.
func Parse(name string) (Channel, bool) {
	for c, n := range names {
		if n == name {
			return Channel(c), true
		}
	}
	return Count, false
}

// All lists the channels in their order.
func All() []Channel {
	all := make([]Channel, Count)
	for i := range all {
		all[i] = Channel(i)
	}
	return all
}

// Quality says how far a value may be trusted. The zero value is Absent.
type Quality uint8

// The qualities, worst first.
const (
	Absent  Quality = iota // not fitted, or never read
	Faulty                 // the sensor is at fault
	Stale                  // too old
	Suspect                // a number, with a larger error than usual
	Good
)

var qualities = [...]string{"absent", "fault", "stale", "suspect", "good"}

// String returns the quality's name.
func (q Quality) String() string {
	if int(q) < len(qualities) {
		return qualities[q]
	}
	return "absent"
}

// Input is one channel's value at one tick. Value means something only if Usable.
type Input struct {
	Value   float64
	Quality Quality
	// Fault is the sensor layer's code for a faulty input, and its reason for a suspect
	// one; empty otherwise. The analysis passes it on and never interprets it; what it
	// finds implausible itself it names by codes of the same kind.
	Fault string
}

// Usable reports whether there is a number to judge by.
func (i Input) Usable() bool { return i.Quality >= Suspect }

// Frame is all channels at one tick.
type Frame struct {
	// At is monotonic time since an origin that stays the same for one engine.
	At     time.Duration
	Inputs [Count]Input
}

// Values are the channels' values as they are to be judged by; NaN where there is none.
type Values [Count]float64

// Has reports whether there is a value on the channel.
func (v *Values) Has(c Channel) bool { return !math.IsNaN(v[c]) }

// Or returns the channel's value, or the other one where there is none.
func (v *Values) Or(c Channel, other float64) float64 {
	if v.Has(c) {
		return v[c]
	}
	return other
}
