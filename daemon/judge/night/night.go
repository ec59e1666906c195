// Package night is a night as whoever judges by it needs it: the readings of a furnace,
// row by row, with the site they come from and, beside them, what was true.
//
// It belongs to the tools that evaluate the analysis and is not part of the product.
package night

import (
	"time"

	"fluewright/analysis/frame"
)

// FirstJudging is the first seed that is kept for judging. What is tuned is tuned on
// seeds below it, so that a judgement says something of nights that nobody has seen.
const FirstJudging = 1_000_000

// World makes nights, all by one model of how a furnace burns.
type World interface {
	Name() string
	Kinds() []Kind
	// Night returns a night of one of the kinds. The same kind and seed give the same
	// night.
	Night(kind string, seed uint64) Night
}

// Kind is a sort of night.
type Kind struct {
	Name  string
	About string
	// Legit says that nothing in it needs an alarm of high priority.
	Legit bool
}

// Night is read once, row by row.
type Night interface {
	Site() Site
	// Next fills in the next row and reports whether there was one.
	Next(*Row) bool
	// Truth is whole once Next has returned false.
	Truth() *Truth
}

// Site is what the monitor is told of the furnace. SI units.
type Site struct {
	Fitted              [frame.Count]bool
	Limits              [frame.Count]float64 // °C, 0 without one
	DraftLow, DraftHigh float64              // Pa
	Altitude            float64              // m
	ChimneyHeight       float64              // m, 0 if not known
	ChimneyDiameter     float64              // m, 0 if not known
}

// Row is all readings of one tick; NaN is none.
type Row struct {
	At     time.Duration
	Values frame.Values
}

// Hazard is a sort of thing that the monitor is there to see.
type Hazard string

// The hazards.
const (
	Overfire      Hazard = "overfire" // the fire outruns the appliance
	ChimneyFire   Hazard = "chimney-fire"
	Spillage      Hazard = "spillage" // the draft has turned while something burns or glows
	PlenumHot     Hazard = "plenum-overheat"
	BlowerStopped Hazard = "blower-stopped"
	Regulator     Hazard = "regulator"
	Restricted    Hazard = "flue-restricted"
	SensorDead    Hazard = "sensor-dead"   // no reading any more
	SensorSilent  Hazard = "sensor-silent" // a reading, and a wrong one
)

// Event is a hazard that was there.
type Event struct {
	Hazard Hazard
	// From is when the readings begin to show it, To when it is over. Began is when it
	// was there, which may be earlier: an alarm is not wrong from then on.
	Began, From, To time.Duration
	// Channel is the one concerned, frame.Count where it is none, and Other the second
	// one of two swapped wires.
	Channel, Other frame.Channel
	// Cause is the code of what brought an over-fire about.
	Cause string
	// What says more, for people.
	What string
}

// Crossing is a time above a limit, by the reading without its noise.
type Crossing struct {
	Channel  frame.Channel
	From, To time.Duration
}

// Truth is what happened.
type Truth struct {
	Crossings []Crossing // in the order of From
	Events    []Event
	Loads     []time.Duration // wood laid on
	Doors     []time.Duration // opened otherwise
	Burning   time.Duration   // with fire or coals
}
