package score

import (
	"cmp"
	"slices"
	"time"

	"fluewright/analysis/alarm"
	"fluewright/analysis/frame"
	"fluewright/daemon/judge/night"
)

// Rules says, for the output, by what the figures are counted. A change here is a
// change of what they mean.
const Rules = `
* A crossing is the first passing of a limit in a fire: by the noise-free reading, of any channel, at least 10 min after all were back below.
* It is foreseen if a runaway alarm, of that channel or another of the same fire, was raised before it and stands at that moment (or is suppressed because another alarm stands for it), or a chimney fire was named. The lead counts from the first such alarm, at most 30 min; a crossing that was not foreseen counts as a lead of zero.
* The cause is the best one of the alarm that stands at the crossing (chimney-fire before runaway before overheat), or of the one raised within 60 s after it. No cause given is a wrong one.
* Chimney fires are due within 60 s of their onset in the readings, spillage of at least 90 s within 90 s, a dead sensor within 30 s and one that reads wrong within 20 min; an alarm that stands already counts as none of delay.
* A high-priority alarm is false unless: a runaway is followed by a crossing within 30 min, or the fire had cause to outrun the appliance or the chimney did burn, and a reading came within 5 % of its limit within 30 min; an overheat stands at a reading within 5 % of its limit; a chimney fire burnt at most 10 min before; the draft was turned for at least 15 s at most 2 min before; the plenum came within 5 % of its limit (93 °C where the site has none) or the blower stopped, at most 30 min around it.
* Burning hours are those with fire or coals.
`

// The times in Rules.
const (
	apart       = 10 * time.Minute // between two crossings of their own
	horizon     = 30 * time.Minute
	around      = time.Minute
	fireDue     = 60 * time.Second
	spillageDue = 90 * time.Second
	deadDue     = 30 * time.Second
	silentDue   = 20 * time.Minute
	slack       = 10 * time.Second // between a truth and its sampling
	afterFire   = 10 * time.Minute
	afterSpill  = 2 * time.Minute
)

// NoCause stands for an alarm that gave no cause, NoAlarm for no alarm at all.
const (
	NoCause = "none"
	NoAlarm = "no alarm"
)

// Crossing is a limit that was passed.
type Crossing struct {
	At       time.Duration `json:"at"`
	Channel  string        `json:"channel"`
	Cause    string        `json:"cause"` // the true one, empty if nothing explains it
	Foreseen bool          `json:"foreseen"`
	Lead     time.Duration `json:"lead"`
	Said     string        `json:"said"` // the cause that was given
}

// Right reports whether the cause was named; one class of pieces too small and wood
// too dry if together.
func (c Crossing) Right(together bool) bool {
	if together && isFuel(c.Cause) && isFuel(c.Said) {
		return true
	}
	return c.Cause == c.Said
}

func isFuel(cause string) bool { return cause == "fine-fuel" || cause == "dry-fuel" }

// Detection is a hazard that was due to be told.
type Detection struct {
	Hazard night.Hazard  `json:"hazard"`
	What   string        `json:"what"`
	From   time.Duration `json:"from"`
	Seen   bool          `json:"seen"` // in time
	// Delay is until the alarm, negative where none came.
	Delay time.Duration `json:"delay"`
	// Instead is the high-priority alarm that was wrongly raised while a sensor lied.
	Instead string `json:"instead,omitempty"`
}

// Night is what one judge made of one night.
type Night struct {
	World, Kind string
	Legit       bool
	Seed        uint64
	Rows        int
	Length      time.Duration
	Burning     time.Duration
	Crossings   []Crossing
	Detections  []Detection
	False       []Said // high-priority alarms for nothing
	// Accused are alarms on sensors that were in order.
	Accused []Said
	Raised  []Said // every raising
}

// Score holds what was said against the truth. The watch has seen the night's rows.
func Score(w *Watch, t *night.Truth, said []Said) Night {
	n := Night{Rows: w.rows, Length: w.to, Burning: t.Burning}
	all := spans(said)
	for _, c := range episodes(t.Crossings) {
		n.Crossings = append(n.Crossings, crossing(c, t, all))
	}
	for _, s := range all {
		n.Raised = append(n.Raised, s.Said)
		switch {
		case s.Priority == "high" && isFalse(s.Said, w, t):
			n.False = append(n.False, s.Said)
		case sensorAlarm(s.Alarm) && !atFault(s.Said, t):
			n.Accused = append(n.Accused, s.Said)
		}
	}
	for _, e := range t.Events {
		if d, due := detection(e, all); due {
			for _, f := range n.False {
				if isSensor(e.Hazard) && f.At >= e.Began && f.At <= e.To+slack {
					d.Instead = string(f.Alarm)
				}
			}
			n.Detections = append(n.Detections, d)
		}
	}
	return n
}

// episodes leaves the first crossing of each fire.
func episodes(all []night.Crossing) []night.Crossing {
	sorted := slices.Clone(all)
	slices.SortStableFunc(sorted, func(a, b night.Crossing) int { return cmp.Compare(a.From, b.From) })
	var first []night.Crossing
	var to time.Duration
	for _, c := range sorted {
		if len(first) == 0 || c.From > to+apart {
			first = append(first, c)
		}
		to = max(to, c.To)
	}
	return first
}

func crossing(c night.Crossing, t *night.Truth, all []span) Crossing {
	out := Crossing{At: c.From, Channel: c.Channel.String(), Cause: trueCause(c.From, t), Said: NoAlarm}
	for _, s := range all {
		if (s.Alarm == alarm.Runaway || s.Alarm == alarm.ChimneyFire) && s.covers(c.From) {
			out.Foreseen = true
			out.Lead = max(out.Lead, min(horizon, c.From-s.At))
		}
	}
	rank := -1
	for _, s := range all {
		at := c.From
		if !s.covers(at) {
			if s.At < at || s.At > at+around {
				continue
			}
			at = s.At
		}
		r := slices.Index([]alarm.Name{alarm.Overheat, alarm.Runaway, alarm.ChimneyFire}, s.Alarm)
		if s.Channel == c.Channel {
			r += 10
		}
		if s.Alarm == alarm.ChimneyFire {
			r += 20
		}
		if r < 0 || r <= rank {
			continue
		}
		rank = r
		switch causes := s.causes(at); {
		case len(causes) > 0:
			out.Said = causes[0]
		case s.Alarm == alarm.ChimneyFire:
			out.Said = "creosote"
		default:
			out.Said = NoCause
		}
	}
	return out
}

// trueCause is that of the hazard that was on at the moment.
func trueCause(at time.Duration, t *night.Truth) string {
	cause := ""
	for _, e := range t.Events {
		if e.From > at || e.To < at {
			continue
		}
		switch e.Hazard {
		case night.ChimneyFire:
			return "creosote"
		case night.Overfire:
			cause = e.Cause
		case night.Regulator, night.BlowerStopped:
			if cause == "" {
				cause = e.Cause
			}
		}
	}
	return cause
}

func sensorAlarm(n alarm.Name) bool { return n == alarm.SensorLost || n == alarm.SensorImplausible }

func isSensor(h night.Hazard) bool {
	return h == night.SensorDead || h == night.SensorSilent || h == night.SensorDrifts
}

// atFault reports whether the sensor that the alarm accuses was at fault.
func atFault(s Said, t *night.Truth) bool {
	for _, e := range t.Events {
		if isSensor(e.Hazard) && (s.Channel == e.Channel || s.Channel == e.Other) && s.At >= e.Began-slack {
			return true
		}
	}
	return false
}

// detection says when the event was told, and whether it is one that must be.
func detection(e night.Event, all []span) (Detection, bool) {
	d := Detection{Hazard: e.Hazard, What: e.What, From: e.From, Delay: -1}
	var due time.Duration
	var told func(span) bool
	switch e.Hazard {
	case night.ChimneyFire:
		due, told = fireDue, func(s span) bool { return s.Alarm == alarm.ChimneyFire }
	case night.Spillage:
		if e.To-e.From < spillageDue {
			return d, false
		}
		due, told = spillageDue, func(s span) bool { return s.Alarm == alarm.Spillage }
	case night.SensorDead, night.SensorSilent:
		due = silentDue
		if e.Hazard == night.SensorDead {
			due = deadDue
		}
		told = func(s span) bool {
			return sensorAlarm(s.Alarm) && (s.Channel == e.Channel || s.Channel == e.Other && e.Other < frame.Count)
		}
	case night.BlowerStopped:
		due, told = silentDue, func(s span) bool { return s.Alarm == alarm.BlowerStopped || s.Alarm == alarm.PlenumOverheat }
	default:
		return d, false
	}
	for _, s := range all {
		if !told(s) || s.to < e.From || s.At > max(e.To, e.From+due) || s.to < e.Began {
			continue
		}
		d.Delay = max(0, s.At-e.From)
		d.Seen = d.Delay <= due
		break
	}
	return d, true
}

// isFalse reports whether nothing in the night called for the alarm.
func isFalse(s Said, w *Watch, t *night.Truth) bool {
	on := func(h night.Hazard, before, after time.Duration) bool {
		return slices.ContainsFunc(t.Events, func(e night.Event) bool {
			return e.Hazard == h && s.At >= e.Began-before && s.At <= e.To+after
		})
	}
	anyNear := func(before, after time.Duration) bool {
		for c := range frame.Count {
			if c != frame.Plenum && w.came(c, s.At-before, s.At+after, t) {
				return true
			}
		}
		return false
	}
	switch s.Alarm {
	case alarm.Runaway:
		if slices.ContainsFunc(t.Crossings, func(c night.Crossing) bool {
			return s.At <= c.To+slack && s.At >= c.From-horizon
		}) {
			return false
		}
		hazard := on(night.Overfire, slack, 0) || on(night.Regulator, slack, 0) ||
			on(night.BlowerStopped, slack, 0) || on(night.ChimneyFire, slack, afterFire)
		return !hazard || !anyNear(slack, horizon)
	case alarm.Overheat:
		if s.Channel >= frame.Count {
			return !anyNear(around, slack)
		}
		return !w.came(s.Channel, s.At-around, s.At+slack, t)
	case alarm.ChimneyFire:
		return !on(night.ChimneyFire, slack, afterFire)
	case alarm.Spillage:
		return !on(night.Spillage, slack, afterSpill)
	case alarm.PlenumOverheat:
		return !w.came(frame.Plenum, s.At-horizon, s.At+horizon, t) &&
			!on(night.PlenumHot, horizon, horizon) && !on(night.BlowerStopped, slack, horizon)
	default:
		return true
	}
}
