package app

import (
	"math"
	"time"

	"fluewright/analysis/frame"
	"fluewright/sensors"
	"fluewright/sensors/calibration"
	"fluewright/sensors/sdp8xx"
)

// ambientHold is how long the last ambient pressure serves when its sensor fails:
// weather moves the draft's correction by about 0.1 % an hour.
const ambientHold = 10 * time.Minute

// source is where a channel's number comes from.
type source struct {
	sensor   string // the chip's name on the board
	quantity sensors.Quantity
	fitted   bool
	// massFlow is set for a pressure sensor that must be corrected for the density of
	// the air.
	massFlow bool
	// lag is the time constant of the probe's sheath; zero if it is not known.
	lag time.Duration
}

// board hands out readings with their quality; scan.Board is one.
type board interface {
	Reading(sensor string, q sensors.Quantity, now time.Time) sensors.Reading
}

// assembler makes frames of what the chips said: the one place where readings of chips
// become channels of a furnace.
type assembler struct {
	sources [frame.Count]source
	board   board
	// altitudePressure is the standard atmosphere's at the site, Pa.
	altitudePressure float64
	// corrections are the calibrations, by channel; nil for none.
	corrections func(frame.Channel) (calibration.Correction, bool)
	sheaths     [frame.Count]*sheath

	origin       time.Time // of the frames' clock
	started      bool
	ambient      float64
	ambientTaken time.Time
}

// begin makes now the zero of the frames' clock, before the first frame.
func (a *assembler) begin(now time.Time) { a.origin, a.started = now, true }

// frame returns the channels as they stand at now, and when each was measured.
func (a *assembler) frame(now time.Time) (frame.Frame, [frame.Count]time.Time) {
	if !a.started {
		a.begin(now)
	}
	// Whole milliseconds, because that is what a burn log keeps: a replay sees the same.
	f := frame.Frame{At: now.Sub(a.origin).Truncate(time.Millisecond)}
	var taken [frame.Count]time.Time
	var massFlow []frame.Channel
	for c, s := range a.sources {
		if !s.fitted {
			continue
		}
		r := a.board.Reading(s.sensor, s.quantity, now)
		in := input(r)
		if a.corrections != nil && in.Usable() {
			if k, ok := a.corrections(frame.Channel(c)); ok {
				in.Value = k.Apply(in.Value)
			}
		}
		a.sheaths[c].quicken(&in, r.Taken, a.origin)
		f.Inputs[c], taken[c] = in, r.Taken
		if s.massFlow {
			massFlow = append(massFlow, frame.Channel(c))
		}
	}
	if in := f.Inputs[frame.Ambient]; in.Usable() {
		a.ambient, a.ambientTaken = in.Value, now
	}
	for _, c := range massFlow {
		a.correct(&f.Inputs[c], now)
	}
	return f, taken
}

// correct undoes what the air's density does to a mass-flow pressure sensor.
func (a *assembler) correct(in *frame.Input, now time.Time) {
	if !in.Usable() {
		return
	}
	ambient := a.altitudePressure
	if a.sources[frame.Ambient].fitted {
		switch known := !a.ambientTaken.IsZero(); {
		case known && now.Sub(a.ambientTaken) <= ambientHold:
			ambient = a.ambient
		default: // the weather is not known: a few per cent off
			in.Quality, in.Fault = frame.Suspect, string(sensors.NoAmbient)
		}
	}
	value, ok := sdp8xx.CorrectForAmbient(in.Value, ambient)
	if !ok {
		*in = frame.Input{Quality: frame.Faulty, Fault: string(sensors.NoAmbient)}
		return
	}
	in.Value = value
}

// input turns a chip's reading into a channel's.
func input(r sensors.Reading) frame.Input {
	in := frame.Input{Value: r.Value, Quality: qualities[r.Quality]}
	switch r.Quality {
	case sensors.Good:
	case sensors.Suspect:
		in.Fault = string(r.Doubt)
	case sensors.Faulty:
		in.Value = 0
		if r.Fault != nil {
			in.Fault = string(r.Fault.Code)
		}
	default:
		in.Value = 0
	}
	if in.Usable() && math.IsNaN(in.Value) {
		return frame.Input{Quality: frame.Faulty, Fault: string(sensors.ImpossibleFrame)}
	}
	return in
}

var qualities = map[sensors.Quality]frame.Quality{
	sensors.Absent:  frame.Absent,
	sensors.Faulty:  frame.Faulty,
	sensors.Stale:   frame.Stale,
	sensors.Suspect: frame.Suspect,
	sensors.Good:    frame.Good,
}
