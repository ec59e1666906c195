package nights

import (
	"math"
	"math/rand/v2"
	"slices"
	"time"
)

// Row is what the sensors say at one moment: °C and Pa, NaN where there is no reading.
type Row struct {
	At     time.Duration // since the start of the night
	Values [Channels]float64
}

// Site is what an installer would have written down.
type Site struct {
	Fitted    [Channels]bool
	Limits    [Channels]float64 // °C that may not be exceeded; NaN: none
	DraftLow  float64           // Pa, the specification's band
	DraftHigh float64
	Set       float64           // Pa, the regulator's set point; 0: no regulator
	Altitude  float64           // m
	Height    float64           // m of chimney
	Diameter  float64           // m
	Lag       [Channels]float64 // s, time constants of the sheaths
	Rated     float64           // W
	FanOn     float64           // °C of plenum air
	FanOff    float64
	Period    time.Duration
}

// Hazard is one thing that went wrong, or that the fire did.
type Hazard struct {
	What     What
	Cause    Cause
	Channel  int // -1 where there is none
	From, To time.Duration
}

// Crossing is a limit passed by a noise-free reading (behind its sheath, of a healthy
// probe in its place).
type Crossing struct {
	Channel int
	At      time.Duration
	Limit   float64
}

// Load is wood laid on.
type Load struct {
	At       time.Duration
	Mass     float64 // kg, with its water
	Moisture float64 // wet basis
	Diameter float64 // m, typical piece
	Cold     bool    // the fire was lit, not fed
	Coals    float64 // kg of glowing charcoal that it was laid on
}

// Span is a stretch of time.
type Span struct{ From, To time.Duration }

// Truth is what really happened.
type Truth struct {
	Crossings []Crossing
	Hazards   []Hazard
	Loads     []Load
	Doors     []Span            // loading or ash door open
	Spills    []Span            // true draft at or below zero for 10 s or more, with fire or coals
	Peaks     [Channels]float64 // highest noise-free readings
	Burning   time.Duration     // with a fire or glowing coals
	Released  float64           // J set free
	Balance   float64           // share of it that the books of energy do not find again
}

// Night is one run of one kind. It streams: only what is to come is computed.
type Night struct {
	Kind  Kind
	Seed  uint64
	Site  Site
	Truth Truth
	// Redrawn is how many draws were thrown away because they were not what the kind
	// promises.
	Redrawn int

	w        world
	s        sensors
	d        draw // of the sensors
	actions  []action
	end      float64
	period   float64
	step     float64
	steps    int
	lost     float64
	gaps     []Span
	fed      float64 // s at which the owner last came to feed
	careless bool    // the owner does not warm the flue before lighting

	inside  [Channels]bool // below its limit
	spill   float64        // s that the draft has been at or below zero
	start   float64        // heat stored at the start
	started bool
}

// action happens at a time, or as soon after it as when says.
type action struct {
	at   float64
	when func(*Night) bool
	do   func(*Night)
}

func newNight(k Kind, seed uint64) *Night {
	h := uint64(14695981039346656037)
	for _, b := range []byte(k.Name) {
		h = (h ^ uint64(b)) * 1099511628211
	}
	for again := uint64(0); ; again++ {
		make := func() *Night {
			p := newPlan(draw{rand.New(rand.NewPCG(seed, h+again))})
			k.plan(p)
			n := p.build()
			n.Kind, n.Seed, n.Redrawn = k, seed, int(again)
			return n
		}
		if again == redraws || make().asPromised() {
			return make()
		}
	}
}

// redraws is how often a night is drawn anew that does not keep what its kind promises.
const redraws = 8

// asPromised plays the night without its readings and says whether it is what its kind
// says: that no limit is passed and no draft turns before what goes wrong does, if
// anything does, and that it does go wrong. The readings draw from a source of their own,
// so the night to come is the same.
func (n *Night) asPromised() bool {
	for n.w.t < n.end {
		n.forward()
		h := n.Truth.Hazards
		calm := n.Kind.sensor || len(h) == 0
		if calm && (len(n.Truth.Crossings) > 0 || n.spill > gust.Seconds()) {
			return false
		}
		if len(h) > 0 && !n.Kind.sensor {
			return true
		}
	}
	return n.Kind.Legitimate() == (len(n.Truth.Hazards) == 0)
}

// gust is how long the draft may be at zero in a legitimate night.
const gust = 15 * time.Second

// at schedules do; when may be nil.
func (n *Night) at(t float64, do func(*Night)) { n.actions = append(n.actions, action{at: t, do: do}) }

func (n *Night) once(t float64, when func(*Night) bool, do func(*Night)) {
	n.actions = append(n.actions, action{at: t, when: when, do: do})
}

// Next gives the next row; false: the night is over and Truth is whole.
func (n *Night) Next(row *Row) bool {
	for {
		if n.w.t >= n.end {
			n.finish()
			return false
		}
		n.forward()
		at := time.Duration(math.Round(n.w.t*1e3)) * time.Millisecond
		n.s.read(n.d, &n.w, at, n.period, row)
		if n.d.chance(n.lost) || slices.ContainsFunc(n.gaps, func(g Span) bool { return at >= g.From && at < g.To }) {
			continue
		}
		return true
	}
}

// forward lets one period pass.
func (n *Night) forward() {
	steps, step := n.steps, n.step
	if steps > 1 && n.idle() { // nothing is quick in a cold furnace
		steps = (n.steps + 4) / 5
		step = n.period / float64(steps)
	}
	for range steps {
		n.act()
		n.w.step(step)
		n.s.step(&n.w, step)
		n.judge(step)
	}
}

func (n *Night) act() {
	for i := 0; i < len(n.actions); i++ {
		a := n.actions[i]
		if n.w.t < a.at || a.when != nil && !a.when(n) {
			continue
		}
		n.actions = slices.Delete(n.actions, i, i+1)
		i--
		a.do(n)
	}
}

func (n *Night) now() time.Duration { return time.Duration(n.w.t * float64(time.Second)) }

// roaring says that the fire gives at least half of what the appliance is rated for.
func (n *Night) roaring() bool { return n.w.fire.heat > 0.5*n.w.fire.ap.rated }

// alive says that the fire or its coals make gas that must not come into the house.
func (n *Night) alive() bool {
	f := &n.w.fire
	return f.heat > 0.015*f.ap.rated || f.char > 0.03 && f.glow > 350
}

// idle says that nothing burns and nothing is warm.
func (n *Night) idle() bool {
	f := &n.w.fire
	return f.heat < 50 && f.glow < 200 && f.lit == 0 && f.door == 0
}

// judge keeps the truth.
func (n *Night) judge(dt float64) {
	if !n.started {
		n.started = true
		n.start = n.w.fire.stored()
	}
	if n.alive() {
		n.Truth.Burning += time.Duration(dt * float64(time.Second))
	}
	for c := range n.s.p {
		p := &n.s.p[c]
		healthy := p.fitted && !p.dead && !p.frozen && p.out == 0
		n.Truth.Peaks[c] = math.Max(n.Truth.Peaks[c], p.value)
		limit := n.Site.Limits[c]
		if math.IsNaN(limit) || !healthy {
			continue
		}
		switch {
		case p.value > limit && n.inside[c]:
			n.inside[c] = false
			n.Truth.Crossings = append(n.Truth.Crossings, Crossing{c, n.now(), limit})
		case p.value < limit-20:
			n.inside[c] = true
		}
	}
	if n.w.draft <= 0 && n.alive() {
		n.spill += dt
	} else {
		n.endSpill()
	}
}

func (n *Night) endSpill() {
	if n.spill >= 10 {
		n.Truth.Spills = append(n.Truth.Spills, Span{n.now() - time.Duration(n.spill*float64(time.Second)), n.now()})
	}
	n.spill = 0
}

func (n *Night) finish() {
	n.endSpill()
	l := &n.w.fire.ledger
	n.Truth.Released = l.released
	if l.released > 0 {
		found := l.wood + l.stack + l.warmAir + l.basement + n.w.fire.stored() - n.start
		n.Truth.Balance = (l.released - found) / l.released
	}
	for i := range n.Truth.Hazards {
		if h := &n.Truth.Hazards[i]; h.To == 0 {
			h.To = n.now()
		}
	}
}

// happen writes a hazard down from now on.
func (n *Night) happen(what What, cause Cause, channel int) {
	n.Truth.Hazards = append(n.Truth.Hazards, Hazard{What: what, Cause: cause, Channel: channel, From: n.now()})
}

// over ends the latest hazard of its kind.
func (n *Night) over(what What) {
	for i := len(n.Truth.Hazards) - 1; i >= 0; i-- {
		if h := &n.Truth.Hazards[i]; h.What == what && h.To == 0 {
			h.To = n.now()
			return
		}
	}
}
