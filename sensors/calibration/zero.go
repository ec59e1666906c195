package calibration

import (
	"errors"
	"fmt"
	"math"
	"time"

	"fluewright/sensors"
)

// Limits of a pressure sensor's zero, Pa (judgement, no source, but for noteworthy).
const (
	zeroSpread = 0.2
	zeroDrift  = 0.1
	furthest   = 5.0
	// noteworthy is what such a sensor's zero is at most off by when it is sound: several
	// times what makers state for it.
	noteworthy = 0.5
)

// zeroOver is how long the ports stay open: long against the air that moves in a room.
const zeroOver = time.Minute

// Reasons why there is no zero.
var (
	ErrFire     = errors.New("a fire burns: with the hose off, flue gas can come out of the tap, and nobody watches the draft")
	ErrFireSeen = errors.New("whether a fire burns is not known: without a flue reading, somebody has to look and say so")
	ErrHoseOn   = errors.New("that is no zero but a pressure: a hose is still on, or the ports are in a draft of air")
)

// Fire is what is known of the fire, from outside.
type Fire uint8

// What can be known of it.
const (
	FireUnknown Fire = iota
	NoFire
	Burning
)

// Look is what a zeroing is fed with.
type Look struct {
	At      time.Duration // on any clock that only goes forward
	Reading sensors.Reading
	Fire    Fire
}

// Zero is a zeroing under way: both ports are open, so that whatever the sensor reads is
// its own error.
type Zero struct{ readings steady }

// NewZero begins a zeroing.
func NewZero() *Zero { return &Zero{steady{over: zeroOver}} }

// Add takes a look. done is true when there are enough of them; an error ends the
// zeroing.
func (z *Zero) Add(l Look) (done bool, err error) {
	switch l.Fire {
	case NoFire:
	case Burning:
		return false, ErrFire
	default:
		return false, ErrFireSeen
	}
	switch l.Reading.Quality {
	case sensors.Good, sensors.Suspect: // a hose that is off may well raise a doubt
	case sensors.Faulty:
		return false, fmt.Errorf("read the pressure: %w", l.Reading.Fault)
	default:
		return false, fmt.Errorf("read the pressure: the reading is %s", l.Reading.Quality)
	}
	if v := l.Reading.Value; math.IsNaN(v) || math.IsInf(v, 0) {
		return false, fmt.Errorf("read the pressure: %v is no pressure", v)
	}
	return z.readings.add(l.At, l.Reading.Value), nil
}

// Progress is how much of it is done, 0 to 1.
func (z *Zero) Progress() float64 { return z.readings.progress() }

// Result returns what the sensor reads at no pressure, Pa. Noteworthy is set if that is
// more than a sound sensor's: the chip may be dirty or wet.
func (z *Zero) Result() (m Mean, noteworthyOffset bool, err error) {
	if len(z.readings.values) < 3*batches {
		return Mean{}, false, fmt.Errorf("only %d readings: want %d at least", len(z.readings.values), 3*batches)
	}
	m, err = z.readings.mean(zeroSpread, zeroDrift, "Pa")
	if err != nil {
		return Mean{}, false, err
	}
	if math.Abs(m.Value) > furthest {
		return Mean{}, false, fmt.Errorf("%+.1f Pa: %w", m.Value, ErrHoseOn)
	}
	return m, math.Abs(m.Value) > noteworthy, nil
}
