package notify

import (
	"errors"
	"fmt"
	"slices"
	"time"

	"fluewright/analysis/alarm"
	"fluewright/analysis/frame"
)

// MemoryVersion is that of what this package keeps.
const MemoryVersion = 1

// Memory is what a desk must not forget over a restart: who was told of what. Its times are
// ages at Taken, in seconds; those that people read are wall times.
type Memory struct {
	Version int         `json:"version"`
	Taken   time.Time   `json:"taken"`
	Trusted bool        `json:"clock_trusted"`
	Alarms  []KeptAlarm `json:"alarms"`
	Lanes   []KeptLane  `json:"lanes"`
}

// KeptAlarm is the latest occurrence of one alarm.
type KeptAlarm struct {
	Alarm      alarm.Name `json:"alarm"`
	Channel    string     `json:"channel,omitempty"`
	Occurrence uint32     `json:"occurrence"`
	Priority   string     `json:"priority"`
	First      bool       `json:"first,omitempty"`
	Stage      string     `json:"stage"`
	Raised     float64    `json:"raised_seconds"`
	Ended      float64    `json:"ended_seconds,omitempty"`
	RaisedAt   time.Time  `json:"raised_at"`
	EndedAt    time.Time  `json:"ended_at,omitzero"`
	Guessed    bool       `json:"guessed,omitempty"`
	Texts      Texts      `json:"texts"`
	Legs       []KeptLeg  `json:"legs,omitempty"`
	Alerted    bool       `json:"alerted,omitempty"`
	AlertOwes  bool       `json:"alert_owes,omitempty"`
}

// KeptLeg is what a lane has told of it.
type KeptLeg struct {
	Person    string    `json:"person"`
	Transport string    `json:"transport"`
	Told      bool      `json:"told,omitempty"`
	Refused   bool      `json:"refused,omitempty"`
	Owes      bool      `json:"owes,omitempty"`
	Last      float64   `json:"last_seconds,omitempty"`
	Times     int       `json:"times,omitempty"`
	Lost      int       `json:"lost,omitempty"`
	LostFrom  time.Time `json:"lost_from,omitzero"`
	LostTo    time.Time `json:"lost_to,omitzero"`
	LostAge   float64   `json:"lost_seconds,omitempty"`
}

// KeptLane is a lane that could not deliver.
type KeptLane struct {
	Person    string  `json:"person"`
	Transport string  `json:"transport"`
	Failures  int     `json:"failures"`
	Failed    float64 `json:"failed_seconds"`
}

// Memory returns what is to be kept.
func (d *Desk) Memory(now Moment) Memory {
	age := func(at time.Duration) float64 { return (now.At - at).Seconds() }
	m := Memory{
		Version: MemoryVersion, Taken: now.Wall, Trusted: now.Trusted,
		Alarms: make([]KeptAlarm, 0, len(d.occurrences)), Lanes: []KeptLane{},
	}
	for _, o := range d.occurrences {
		k := KeptAlarm{
			Alarm: o.key.Name, Occurrence: o.no, Priority: o.priority.String(), First: o.first, Stage: o.stage.String(),
			Raised: age(o.raised), RaisedAt: o.raisedWall, EndedAt: o.endedWall, Texts: o.texts,
			Guessed: o.guessed, Alerted: o.alerted, AlertOwes: o.alertOwes,
		}
		if o.key.Channel < frame.Count {
			k.Channel = o.key.Channel.String()
		}
		if o.stage == over {
			k.Ended = age(o.ended)
		}
		for i, l := range o.legs {
			if l == (leg{}) {
				continue
			}
			kept := KeptLeg{
				Person: d.person(i), Transport: d.lanes[i].transport, Told: l.told, Refused: l.refused, Owes: l.owes,
				Times: l.times, Lost: l.lost.count, LostFrom: l.lost.from, LostTo: l.lost.to,
			}
			if l.told || l.refused {
				kept.Last = age(l.last)
			}
			if l.lost.count > 0 {
				kept.LostAge = age(l.lost.at)
			}
			k.Legs = append(k.Legs, kept)
		}
		m.Alarms = append(m.Alarms, k)
	}
	for i := range d.lanes {
		if ln := &d.lanes[i]; ln.failures > 0 {
			m.Lanes = append(m.Lanes, KeptLane{d.person(i), ln.transport, ln.failures, age(ln.failed)})
		}
	}
	return m
}

func (d *Desk) person(lane int) string { return d.policy.People[d.lanes[lane].person].Name }

func (d *Desk) lane(person, transport string) int {
	return slices.IndexFunc(d.lanes, func(l lane) bool {
		return l.transport == transport && d.policy.People[l.person].Name == person
	})
}

// Restore takes over what an earlier run has kept, on a desk that was told of nothing.
// Whoever is no longer in the policy is left out; anything else that does not fit is an
// error, and the desk is as before. How long the program was away counts only between two
// clocks that are known to be right.
func (d *Desk) Restore(m Memory, now Moment) error {
	if m.Version != MemoryVersion {
		return fmt.Errorf("restore who was told: version %d, want %d", m.Version, MemoryVersion)
	}
	var away time.Duration
	if m.Trusted && now.Trusted {
		away = min(max(now.Wall.Sub(m.Taken), 0), longestStep)
	}
	ago := func(s float64) time.Duration {
		if !(s > 0) { // nor NaN
			s = 0
		}
		return now.At - away - time.Duration(min(s, longestStep.Seconds())*float64(time.Second))
	}
	var all []*occurrence
	for _, k := range m.Alarms {
		o, err := d.restored(k, ago)
		if err == nil && slices.ContainsFunc(all, func(other *occurrence) bool { return other.key == o.key }) {
			err = errors.New("it is there twice")
		}
		if err != nil {
			return fmt.Errorf("restore who was told of %s: %w", k.Alarm, err)
		}
		all = append(all, o)
	}
	d.occurrences = all
	for _, k := range m.Lanes {
		if i := d.lane(k.Person, k.Transport); i >= 0 && k.Failures > 0 {
			d.lanes[i].failures, d.lanes[i].failed = k.Failures, ago(k.Failed)
		}
	}
	return nil
}

func (d *Desk) restored(k KeptAlarm, ago func(float64) time.Duration) (*occurrence, error) {
	declared, ok := alarm.Declared(k.Alarm)
	if !ok {
		return nil, errors.New("it is not declared")
	}
	o := &occurrence{
		key: alarm.Key{Name: k.Alarm, Channel: frame.Count}, no: k.Occurrence, priority: declared.Priority, first: k.First,
		raised: ago(k.Raised), ended: ago(k.Ended), raisedWall: k.RaisedAt, endedWall: k.EndedAt, texts: k.Texts,
		legs: make([]leg, len(d.lanes)), guessed: k.Guessed, alerted: k.Alerted, alertOwes: k.AlertOwes,
	}
	if k.Channel != "" {
		if o.key.Channel, ok = frame.Parse(k.Channel); !ok {
			return nil, fmt.Errorf("there is no channel %q", k.Channel)
		}
	}
	st := slices.Index(stages[:], k.Stage)
	if st < 0 || k.Occurrence == 0 {
		return nil, fmt.Errorf("there is no stage %q of occurrence %d", k.Stage, k.Occurrence)
	}
	o.stage = stage(st)
	for _, l := range k.Legs {
		i := d.lane(l.Person, l.Transport)
		if i < 0 {
			continue
		}
		o.legs[i] = leg{told: l.Told, refused: l.Refused, owes: l.Owes, last: ago(l.Last), times: max(l.Times, 0)}
		if l.Lost > 0 {
			o.legs[i].lost = lost{l.Lost, l.LostFrom, l.LostTo, ago(l.LostAge)}
		}
	}
	return o, nil
}
