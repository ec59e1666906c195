package burn

import (
	"math"
	"time"

	"fluewright/analysis/chimney"
	"fluewright/analysis/frame"
	"fluewright/analysis/gas"
	"fluewright/analysis/signal"
)

// Flue is the chimney behind the collar and the gas that a usual fire sends through it.
type Flue struct {
	chimney.System
	Flow  float64 // kg/s at Draft
	Draft float64 // Pa
}

// TypicalFlue is taken where the site says nothing: 7 m of insulated steel, 150 mm, half
// of it outside, and 20 g/s at 12 Pa, what 20 to 25 kW of wood give with twice the air that
// it needs. Air that the regulator lets in is left out of it: the true wall is colder.
func TypicalFlue() Flue {
	s := chimney.InsulatedMetal(0.15, 0.025)
	s.Length, s.Rise, s.Fittings, s.Exposed = 7, 7, 1.2, 0.5
	return Flue{System: chimney.System{Chimney: s}, Flow: 0.020, Draft: 12}
}

// wallEvery is how often the wall is worked out: it moves in minutes.
const wallEvery = 10 * time.Second

// typicalOutdoor is the outdoor air where none is read, °C.
const typicalOutdoor = 0.0

// wall is the inner wall at the chimney's top. Its steady temperature follows from the gas;
// it approaches that with the time constant of its heat capacity.
type wall struct {
	site    chimney.Site
	gas     gas.Gas
	ready   bool
	known   bool // a temperature has been worked out
	fresh   bool // with this frame, over the time over
	typical bool
	due     time.Duration
	over    time.Duration
	celsius float64
	margins chimney.Margins
}

// prepare takes the site's chimney or the typical one.
func (w *wall) prepare(f *Flue) {
	w.ready = true
	w.site.Method = chimney.Real
	// Twice the air needed and wood at 20 % (wet basis): a usual fire (judgement).
	w.gas = gas.Fuel{Wood: gas.TypicalWood(), Moisture: 0.2}.Burn(2, 0).Gas
	if f.System.Validate() != nil || !(f.Flow > 0 && f.Draft > 0) {
		*f = TypicalFlue()
		w.typical = true
	}
	w.site.System = f.System
}

// step moves the wall while there is fire; without, it is forgotten.
func (w *wall) step(dt time.Duration, site *Site, v *frame.Values, draft, room float64, fire bool) {
	w.fresh = false
	if !fire || dt > maxGap {
		w.known, w.due = false, 0
		return
	}
	w.due += dt
	if w.due < wallEvery || !v.Has(frame.Flue) {
		return
	}
	if !w.ready {
		w.prepare(&site.Flue)
	}
	c := chimney.Conditions{
		Outdoor: v.Or(frame.Outdoor, typicalOutdoor), Room: room,
		Pressure: v.Or(frame.Ambient, gas.SeaLevel), AirConstant: gas.DryAir().Constant(),
	}
	pull := draft
	guessed := !v.Has(frame.Outdoor)
	if math.IsNaN(pull) {
		pull, guessed = site.Flue.Draft, true
	}
	in := chimney.Stream{Gas: w.gas, Temperature: v[frame.Flue]}
	// Flow through an opening: as the root of the pressure.
	in.Flow = site.Flue.Flow * math.Sqrt(max(0.05, min(pull/site.Flue.Draft, 5)))
	if c.Validate() != nil || in.Validate() != nil {
		w.due = 0
		return
	}
	w.site.Conditions = c
	if !w.known {
		// Indoors a cold chimney is a little warmer than the night (judgement).
		w.known, w.celsius = true, c.Outdoor+float64(0.3*(c.Room-c.Outdoor))
		if v[frame.Flue]-room > hotStart {
			w.celsius = w.site.Solve(in).OutletWall // it has burnt for long
		}
	}
	sol := w.site.Solve(in)
	w.celsius = signal.Toward(w.celsius, sol.OutletWall, w.due, w.inertia(&sol, in))
	w.margins = chimney.MarginsOf(w.celsius, w.gas, c.Pressure)
	w.typical = w.typical || guessed
	w.over, w.due, w.fresh = w.due, 0, true
}

// hotStart is the flue's rise over the room at which a burn was under way when it was first
// seen, K.
const hotStart = 100.0

// inertia is the wall's time constant: its heat capacity over what the gas gives it,
// C/(α π D) for a metre of it.
func (w *wall) inertia(sol *chimney.Solution, in chimney.Stream) time.Duration {
	s := &w.site.System.Chimney
	film := sol.Chimney.Film * math.Pi * s.Diameter
	if !(film > 0) {
		return time.Hour
	}
	// Gas that gives its heat to a long cold wall is cooled by it: the wall cannot take
	// more than the stream brings.
	brought := in.Flow * in.Gas.HeatCapacity(sol.Chimney.Mean) / s.Length
	seconds := s.HeatCapacity/film + s.HeatCapacity/brought
	return time.Duration(min(seconds, 36000) * float64(time.Second))
}
