// Package status holds what the program knows at one tick, as one value that metrics,
// pages and messages are made from, and hands it to whoever wants to see it.
package status

import (
	"time"

	"fluewright/analysis"
	"fluewright/analysis/frame"
	"fluewright/daemon/internal/calibrate"
	"fluewright/sensors"
	"fluewright/sensors/path"
)

// Status is one tick: nothing in it changes after it was published.
type Status struct {
	Site string
	// Seq counts ticks since the program began.
	Seq uint64
	// Wall is the wall clock at the tick, and ClockTrusted whether it was known to be
	// synchronised.
	Wall         time.Time
	ClockTrusted bool
	Frame        frame.Frame
	// Taken is when each channel was last really measured (wall clock, zero if never).
	Taken      [frame.Count]time.Time
	Assessment analysis.Assessment
	Sensors    []Sensor
	Supply     Supply
}

// Supply is the voltage that the board is fed with.
type Supply struct {
	// Watched is whether the board can tell.
	Watched bool
	Low     bool
	Dips    uint64 // since the program began
	LastDip time.Time
}

// Sensor is the health of one chip.
type Sensor struct {
	Name     string // stable: its first channel's name
	Chip     string // "max31856"
	Bus      string // "/dev/spidev0.0"
	Address  uint16 // on I2C
	Channels []frame.Channel
	Up       bool // the last look gave a sample
	LastGood time.Time
	// Fault is the present fault; nil when up.
	Fault *sensors.Fault
	// Samples and Faults count since the program began.
	Samples uint64
	Faults  map[sensors.Code]uint64
	// Took is how long the last look at the chip lasted.
	Took time.Duration
	Raw  sensors.Raw
	// ColdJunction is how warm a thermocouple's terminals are at the amplifier, °C; nil where
	// that was not read.
	ColdJunction *float64
	// Serial is the specimen's number where the chip has one; Former that of the one that
	// it replaced while the program ran.
	Serial, Former string
	// Path is what was done to its samples.
	Path path.Counts
	// LagClamps counts readings whose sheath's lag was not made up for in full.
	LagClamps uint64
	// Calibration of its first channel, nil without one; Refused is why it is not used.
	Calibration *calibrate.Entry
	Refused     string
}

// WallOf returns the wall time of a moment on the frames' clock.
func (s *Status) WallOf(at time.Duration) time.Time { return s.Wall.Add(at - s.Frame.At) }
