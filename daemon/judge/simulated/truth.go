package simulated

import (
	"time"

	"fluewright/analysis/frame"
	"fluewright/daemon/judge/night"
	"fluewright/sensors/bench/nights"
)

// over is for how long at most a limit counts as passed: the simulator says when that
// began, and that it was over before the next time.
const over = 30 * time.Minute

// joined is how far apart two turned drafts are at least.
const joined = time.Minute

// warmUp is after how much of a fire a sensor that failed in the cold shows it.
const warmUp = 15 * time.Minute

// creep is after how long a drift of the draft's zero shows in the cold.
const creep = time.Hour

// tell puts the simulator's truth into the judge's words.
func (s *simulated) tell() *night.Truth {
	from := &s.night.Truth
	t := &night.Truth{Burning: from.Burning}
	for _, l := range from.Loads {
		t.Loads = append(t.Loads, l.At)
	}
	for _, d := range from.Doors {
		t.Doors = append(t.Doors, d.From)
	}
	limits := s.Site().Limits
	for _, c := range from.Crossings {
		what, to := channel(c.Channel), min(s.end, c.At+over)
		switch {
		case limits[what] > 0:
			t.Crossings = append(t.Crossings, night.Crossing{Channel: what, From: c.At, To: to})
		case what == frame.Plenum:
			t.Events = append(t.Events, night.Event{
				Hazard: night.PlenumHot, Began: c.At, From: c.At, To: to, Channel: what, Other: frame.Count, What: "above its limit",
			})
		}
	}
	for _, h := range from.Hazards {
		if h.What != nights.Spillage { // told by the draft itself
			t.Events = append(t.Events, s.event(h))
		}
	}
	for i := 0; i < len(from.Spills); {
		j := together(from.Spills, i)
		t.Events = append(t.Events, s.spillage(night.Span{From: from.Spills[i].From, To: from.Spills[j-1].To}))
		i = j
	}
	return t
}

// together is the end of the turned drafts from the i-th on that are one: they follow
// within a minute each, and the draft is turned for most of the time. In a storm it is
// not.
func together(spills []nights.Span, i int) int {
	best := i + 1
	turned := spills[i].To - spills[i].From
	for j := i + 1; j < len(spills) && spills[j].From <= spills[j-1].To+joined; j++ {
		turned += spills[j].To - spills[j].From
		if span := spills[j].To - spills[i].From; turned >= span*3/4 {
			best = j + 1
		}
	}
	return best
}

// spillage is due from when the readings show a fire to it.
func (s *simulated) spillage(turned night.Span) night.Event {
	shown := turned.To
	for _, f := range s.fire {
		if f.To >= turned.From {
			shown = min(turned.To, max(turned.From, f.From))
			break
		}
	}
	return night.Event{
		Hazard: night.Spillage, Began: turned.From, From: shown, To: turned.To,
		Channel: frame.Count, Other: frame.Count, What: "the draft has turned",
	}
}

// hazards are the judge's words for the simulator's. What is not here keeps its name, is
// not due and excuses no alarm.
var hazards = map[nights.What]night.Hazard{
	nights.OverFire:         night.Overfire,
	nights.ChimneyFire:      night.ChimneyFire,
	nights.RegulatorShut:    night.Regulator,
	nights.RegulatorOpen:    night.Regulator,
	nights.RegulatorHigh:    night.Regulator,
	nights.RegulatorLow:     night.Regulator,
	nights.RegulatorFlutter: night.Regulator,
	nights.FlueRestricted:   night.Restricted,
	nights.BlowerStopped:    night.BlowerStopped,
	nights.LowAirFlow:       night.PlenumHot,
	nights.SensorDead:       night.SensorDead,
	nights.SensorOut:        night.SensorSilent,
	nights.SensorHalfOut:    night.SensorSilent,
	nights.SensorSwapped:    night.SensorSilent,
	nights.SensorFrozen:     night.SensorSilent,
	nights.SensorCovered:    night.SensorSilent,
	nights.HoseOff:          night.SensorSilent,
	nights.HoseBlocked:      night.SensorSilent,
	nights.DraftZeroDrifts:  night.SensorSilent,
	nights.SensorDrift:      night.SensorDrifts,
}

func (s *simulated) event(h nights.Hazard) night.Event {
	e := night.Event{
		Hazard: night.Hazard(h.What), Began: h.From, From: h.From, To: h.To,
		Channel: channel(h.Channel), Other: frame.Count, Cause: string(h.Cause), What: string(h.What),
	}
	if known, ok := hazards[h.What]; ok {
		e.Hazard = known
	}
	switch h.What {
	case nights.RegulatorShut, nights.RegulatorHigh:
		e.Cause = string(nights.DraftHigh)
	case nights.BlowerStopped:
		e.Cause = string(nights.Blower)
	case nights.SensorSwapped:
		e.Other = s.other(e.Channel)
		e.From = max(e.From, s.apart[e.Channel][e.Other])
	case nights.DraftZeroDrifts:
		e.From += creep
	default:
		if e.Hazard == night.SensorSilent {
			e.From = s.shows(e.From)
		}
	}
	return e
}

// shows is when a fault that began at the time can be seen: in a cold furnace nothing
// contradicts it.
func (s *simulated) shows(from time.Duration) time.Duration {
	if loads := s.night.Truth.Loads; len(loads) > 0 && loads[0].At > from {
		return loads[0].At + warmUp
	}
	return from
}

// other is the channel that this one's wires were exchanged with: the hotter of two
// tells which.
func (s *simulated) other(c frame.Channel) frame.Channel {
	if c == frame.Chamber || s.hottest[frame.Flue] < s.hottest[frame.Plenum] {
		return frame.Plenum
	}
	return frame.Chamber
}
