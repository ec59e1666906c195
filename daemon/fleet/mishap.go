package main

import (
	"time"

	"fluewright/analysis/frame"
	"fluewright/sensors/bench/furnace"
)

// mishap is something that goes wrong in a house for a while.
type mishap struct {
	lasts  time.Duration
	fire   bool // it wants one
	begins func(*house)
	ends   func(*house) // nil: it ends by itself
}

// kinds are all there are. The numbers are judgement: each makes its alarm within minutes.
var kinds = []mishap{
	{lasts: 4 * time.Minute, begins: loosen(frame.Flue), ends: fasten},
	{lasts: 3 * time.Minute, begins: loosen(frame.Draft), ends: fasten},
	{lasts: 3 * time.Minute, fire: true, begins: func(h *house) { h.Downdraft(35, 2*time.Minute) }},
	{lasts: 12 * time.Minute, fire: true, begins: stick, ends: free},
	{lasts: 12 * time.Minute, fire: true, begins: func(h *house) { stick(h); h.Reload(6, 0.08, 2.4) }, ends: free},
	{lasts: 10 * time.Minute, fire: true, begins: func(h *house) { h.Blower(false) }, ends: func(h *house) { h.Blower(true) }},
	{lasts: 5 * time.Minute, fire: true, begins: func(h *house) { h.ChimneyFire(4 * time.Minute) }},
	{lasts: 8 * time.Minute, begins: func(h *house) { h.mishaps.lost = true }, ends: func(h *house) { h.mishaps.lost = false }},
}

func loosen(c frame.Channel) func(*house) { return func(h *house) { h.mishaps.broken = c } }

func fasten(h *house) { h.mishaps.broken = frame.Count }

func stick(h *house) { h.SetRegulator(h.set, furnace.StuckShut) }

func free(h *house) { h.SetRegulator(h.set, furnace.Free) }

// mishaps is what is wrong now.
type mishaps struct {
	now    *mishap
	until  time.Duration
	broken frame.Channel // without a reading
	lost   bool          // the clock is not synchronised
	count  int
}

// chance lets something go wrong so many times an hour on average, and ends what is over. In a
// storm the draft turns more often.
func (h *house) chance(perHour float64, d time.Duration, at time.Time) {
	m := &h.mishaps
	if m.now != nil {
		if h.passed >= m.until {
			if m.now.ends != nil {
				m.now.ends(h)
			}
			m.now = nil
		}
		return
	}
	storms := perHour > 0 && h.region.storms(at)
	if storms {
		perHour *= 3
	}
	if h.rng.Float64() >= perHour*d.Hours() {
		return
	}
	k := &kinds[h.rng.IntN(len(kinds))]
	if storms && h.rng.IntN(3) > 0 {
		k = &kinds[2]
	}
	if k.fire && !h.onFire() {
		return
	}
	m.now, m.until = k, h.passed+k.lasts
	m.count++
	k.begins(h)
}
