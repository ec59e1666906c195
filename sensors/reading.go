package sensors

import (
	"encoding/hex"
	"time"
)

// Quality says how far a value may be trusted. The zero value is Absent, so that
// nothing is ever good by omission.
type Quality uint8

// The qualities, worst first.
const (
	Absent  Quality = iota // never read, or no such channel
	Faulty                 // the chip, its wiring or its bus is at fault
	Stale                  // was good once, is too old now
	Suspect                // a number, with a larger error than the chip's usual one
	Good
)

var qualityNames = [...]string{"absent", "fault", "stale", "suspect", "good"}

// String returns the quality's name as every output writes it.
func (q Quality) String() string {
	if int(q) < len(qualityNames) {
		return qualityNames[q]
	}
	return "absent"
}

// MaxRaw is the longest frame that a supported chip sends.
const MaxRaw = 24

// Raw holds the words as they came over the bus, without allocating.
type Raw struct {
	bytes [MaxRaw]byte
	n     uint8
}

// RawOf copies b, at most MaxRaw bytes of it.
func RawOf(b []byte) Raw {
	var r Raw
	r.n = uint8(copy(r.bytes[:], b))
	return r
}

// Bytes returns a copy of the words.
func (r Raw) Bytes() []byte { return append([]byte(nil), r.bytes[:r.n]...) }

// String returns the words in hexadecimal.
func (r Raw) String() string { return hex.EncodeToString(r.bytes[:r.n]) }

// Sample is what one look at a chip gave: one or more quantities and the raw words.
// A chip at fault gives a *Fault and no Sample.
type Sample struct {
	Raw Raw
	// Doubt is why the values are suspect; empty when they are good.
	Doubt Code
	// Taken is when the chip began to measure, on the driver's clock; zero when that was
	// at the look itself.
	Taken time.Time

	values [Quantities]float64
	has    uint16
}

// Set records v as the value of q, in the unit that q documents.
func (s *Sample) Set(q Quantity, v float64) {
	s.values[q] = v
	s.has |= 1 << q
}

// Get returns the value of q and whether the chip measured it.
func (s *Sample) Get(q Quantity) (float64, bool) {
	return s.values[q], s.has&(1<<q) != 0
}

// SameValues reports whether both measured the same quantities and found the same.
func (s *Sample) SameValues(o *Sample) bool { return s.has == o.has && s.values == o.values }

// Reading is a value with its quality: the only form in which a number leaves this
// layer. Value means something only when Quality is Good or Suspect.
type Reading struct {
	Value   float64
	Quality Quality
	// Fault is set when Quality is Faulty; Doubt when it is Suspect.
	Fault *Fault
	Doubt Code
	Raw   Raw
	// Taken is when the chip measured it, on the reading loop's clock; zero before the
	// first sample.
	Taken time.Time
}
