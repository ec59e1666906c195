package cause

import (
	"math"
	"time"

	"fluewright/analysis/frame"
)

// Code is a cause's stable name, as every output writes it.
type Code string

// The causes.
const (
	DraftHigh Code = "draft-high" // the chimney pulls harder than the appliance is made for
	CoalBed   Code = "coal-bed"   // wood laid on a large bed of coals burns from below
	FineFuel  Code = "fine-fuel"  // pieces too small
	DryFuel   Code = "dry-fuel"   // wood too dry
	AirLeak   Code = "air-leak"   // a door or the ash door ajar: air beyond the control
	Creosote  Code = "creosote"   // the deposit in the flue burns
	Blower    Code = "blower"     // nothing carries the heat away
)

// Codes lists the causes.
func Codes() []Code {
	return []Code{DraftHigh, CoalBed, FineFuel, DryFuel, AirLeak, Creosote, Blower}
}

// Kind says what a piece of evidence is about. The zero value is no evidence.
type Kind uint8

// The kinds of evidence and what their numbers mean.
const (
	None Kind = iota
	// DraftOver: the draft stood at Value on average for For, the band ends at Reference.
	DraftOver
	// DraftClimbed: it went from Reference to Value as the flue got hotter, which a
	// working regulator does not let it do.
	DraftClimbed
	// DraftOrdinary: it stood at Value on average, within what is specified up to Reference.
	DraftOrdinary
	// DraftSagged: it fell from Reference to Value although the flue got hotter.
	DraftSagged
	// DraftUnder: it stood at Value on average with a hot flue, the band begins at Reference.
	DraftUnder
	// DraftSurged: it rose from Reference to Value within For.
	DraftSurged
	// Lit: a cold furnace was lit at At, For before the rise began.
	Lit
	// Loaded: wood was laid on at At, For before the rise began.
	Loaded
	// Visited: a door seems to have been opened at At, For before the rise began; whether
	// wood was laid on is not told.
	Visited
	// Revived: at At the fire had burnt down, the channel stood at Value, and no load is
	// known for it.
	Revived
	// OnCoals: just before it, at At, the channel still stood at Value; For is how long
	// the fire had been in coals, 0 if it still burned.
	OnCoals
	// Rose: the channel rose from Reference to Value within For.
	Rose
	// Leapt: the channel leapt from Reference to Value within For, and no wood explains it.
	Leapt
	// Again: the load before rose as quickly.
	Again
	// Stayed: the channel stood above Reference, three quarters of the way to its limit,
	// for For.
	Stayed
	// NotLoaded: the rise began For after the last load, or with none known if For is 0.
	NotLoaded
	// Steady: before the rise, the channel had kept within Value and Reference for For.
	Steady
	// Fell: the channel fell from Reference to Value while the gas behind it got hotter.
	Fell
	// Unmoved: the channel went only from Reference to Value meanwhile.
	Unmoved
	// Moisture: Value is the logged moisture (wet basis, 0 to 1), Reference what is too dry.
	Moisture
	// Door: a door has been open for For.
	Door
	// Within: the channel is at Value only, its limit is Reference.
	Within
	// Stopped: the blower has stood still for For, the plenum is at Value.
	Stopped
)

// Evidence is one observation that speaks for a cause. Temperatures in °C, drafts in Pa.
type Evidence struct {
	Kind             Kind
	Channel          frame.Channel // frame.Count where it is about none
	Value, Reference float64
	For              time.Duration
	At               time.Duration // on the frames' clock: when it began
}

// MaxEvidence is how many pieces of evidence a cause carries at most.
const MaxEvidence = 4

// Cause is one explanation.
type Cause struct {
	Code Code
	// Weight is the share of belief, 0 to 1. The weights of a ranking sum to at most 1;
	// the rest is that nothing stands out, or something too weak to be named.
	Weight float64
	// Evidence speaks for it, strongest first; the first of Kind None ends it.
	Evidence [MaxEvidence]Evidence
}

// add appends a piece of evidence, if there is room for it and its numbers are numbers.
func (c *Cause) add(e Evidence) {
	if math.IsNaN(e.Value) || math.IsNaN(e.Reference) {
		return
	}
	for i := range c.Evidence {
		if c.Evidence[i].Kind == None {
			c.Evidence[i] = e
			return
		}
	}
}

// materialShift is by how much the weight of the best cause must move to be worth saying.
const materialShift = 0.2

// Differ reports whether two rankings differ so much that people should be told: another
// best cause, or the same one with a weight that moved by more than 0.2.
func Differ(a, b []Cause) bool {
	if len(a) == 0 || len(b) == 0 {
		return len(a) != len(b)
	}
	return a[0].Code != b[0].Code || math.Abs(a[0].Weight-b[0].Weight) > materialShift
}
