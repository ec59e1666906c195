package alarm

import (
	"errors"
	"fmt"
	"slices"
	"time"

	"fluewright/analysis/frame"
)

// SnapshotVersion is that of the snapshots that this package makes and takes.
const SnapshotVersion = 1

// oldest is what an age in a snapshot is cut to: nothing here looks further.
const oldest = 10 * 365 * 24 * time.Hour

// Snapshot is what must outlive a restart. Its times are ages at Taken, in seconds, since
// the frames' clock means nothing to another run.
type Snapshot struct {
	Version      int       `json:"version"`
	Taken        time.Time `json:"taken"`
	ClockTrusted bool      `json:"clock_trusted"`
	Alarms       []Kept    `json:"alarms"`
}

// Kept is one alarm of a snapshot.
type Kept struct {
	Alarm        Name    `json:"alarm"`
	Channel      string  `json:"channel,omitempty"`
	State        string  `json:"state"`
	Holds        bool    `json:"holds"`
	Occurrence   uint32  `json:"occurrence"`
	Acknowledged bool    `json:"acknowledged"`
	First        bool    `json:"first,omitempty"`
	Since        float64 `json:"since_seconds"`           // ago
	Began        float64 `json:"began_seconds,omitempty"` // ago; of an alarm that was raised
	Shelf        float64 `json:"shelf_seconds,omitempty"` // from then on
	ShelvedBy    string  `json:"shelved_by,omitempty"`
	Value        float64 `json:"value"`
	Limit        float64 `json:"limit"`
	Fault        string  `json:"fault,omitempty"`
}

// Snapshot returns the state of all alarms as of the last step. wall is the wall clock now
// and trusted whether it is known to be right.
func (a *Annunciator) Snapshot(wall time.Time, trusted bool) Snapshot {
	s := Snapshot{Version: SnapshotVersion, Taken: wall, ClockTrusted: trusted, Alarms: make([]Kept, 0, len(a.points))}
	for i := range a.points {
		p := &a.points[i]
		st := p.status
		k := Kept{
			Alarm: st.Key.Name, Channel: channelOf(st.Key), State: st.State.String(), Holds: st.Condition == Holds,
			Occurrence: st.Occurrence, Acknowledged: st.Acknowledged, First: st.First,
			Since: a.age(p.since), Value: st.Value, Limit: st.Limit, Fault: st.Fault,
		}
		if st.Occurrence > 0 {
			k.Began = a.age(p.began)
		}
		if st.State == Shelved {
			k.Shelf, k.ShelvedBy = max(p.end-a.clock.now, 0).Seconds(), st.ShelvedBy
		}
		s.Alarms = append(s.Alarms, k)
	}
	return s
}

func (a *Annunciator) age(t time.Duration) float64 { return min(a.clock.now-t, oldest).Seconds() }

// Restore takes a snapshot over before the first step. Alarms that stood stand, blind
// until they are judged, and nobody is told that they were raised; those that were normal
// are unjudged.
//
// wall and trusted are the clock's now. Only between two trusted clocks is it known how
// long the monitor was away; otherwise a shelf has as much left as it had.
//
// The error names what was not taken over: all of it, or single alarms that are no
// longer part of the site or make no sense. Everything else was.
func (a *Annunciator) Restore(s Snapshot, wall time.Time, trusted bool) error {
	switch {
	case a.clock.started:
		return errors.New("restore alarms: they have been judged already")
	case s.Version != SnapshotVersion:
		return fmt.Errorf("restore alarms: the snapshot has version %d, want %d", s.Version, SnapshotVersion)
	}
	var errs []error
	var away time.Duration
	if trusted && s.ClockTrusted {
		away = wall.Sub(s.Taken)
		if away < 0 {
			errs = append(errs, fmt.Errorf("restore alarms: the snapshot is from %v ahead; taken as of now", -away))
			away = 0
		}
	}
	away = min(away, oldest)
	restored := make([]bool, len(a.points))
	for _, k := range s.Alarms {
		i, err := a.take(k, restored)
		if err != nil {
			errs = append(errs, fmt.Errorf("restore alarm %s: %w", k.name(), err))
			continue
		}
		restored[i] = true
		a.points[i].restore(k, away)
	}
	a.closeEpisodes()
	return errors.Join(errs...)
}

// take finds the point that k is of and checks that k is something that a panel can have
// been in.
func (a *Annunciator) take(k Kept, restored []bool) (int, error) {
	c, known := frame.Count, true
	if k.Channel != "" {
		c, known = frame.Parse(k.Channel)
	}
	i := a.find(Key{k.Alarm, c})
	switch {
	case !known || i < 0:
		return 0, errors.New("the site has it no longer")
	case restored[i]:
		return 0, errors.New("it is there twice")
	}
	return i, k.check(a.points[i].status.Priority)
}

func (k Kept) name() string {
	if k.Channel != "" {
		return fmt.Sprintf("%.40q on %.20q", k.Alarm, k.Channel)
	}
	return fmt.Sprintf("%.40q", k.Alarm)
}

func (k Kept) check(p Priority) error {
	state, ok := parseState(k.State)
	switch {
	case !ok:
		return fmt.Errorf("there is no state %.20q", k.State)
	case state != Shelved && k.Holds != (state.Standing() || state == Suppressed):
		return fmt.Errorf("%v, and its condition holds: %v", state, k.Holds)
	case k.Occurrence == 0 && (state.Standing() || state == Returned || k.Acknowledged):
		return fmt.Errorf("%v, acknowledged %v, and never raised", state, k.Acknowledged)
	case state == Acknowledged && !k.Acknowledged, (state == Raised || state == Returned) && k.Acknowledged:
		return fmt.Errorf("%v, and acknowledged: %v", state, k.Acknowledged)
	case !sane(k.Since, oldest) || !sane(k.Began, oldest):
		return fmt.Errorf("it is %g s old, and %g s", k.Since, k.Began)
	case (state == Shelved) != (k.ShelvedBy != "") || !sane(k.Shelf, MaxShelf) || state != Shelved && k.Shelf != 0:
		return fmt.Errorf("%v, by %.20q, for %g s more", state, k.ShelvedBy, k.Shelf)
	case state == Shelved && (p >= High || !named(k.ShelvedBy)):
		return ErrNotShelvable
	case number(k.Value) != k.Value || number(k.Limit) != k.Limit:
		return errors.New("its numbers are none")
	case k.Fault != "" && !named(k.Fault):
		return errors.New("its fault is no code")
	}
	return nil
}

// sane reports whether a time in seconds lies between nothing and most.
func sane(seconds float64, most time.Duration) bool { return seconds >= 0 && seconds <= most.Seconds() }

func parseState(name string) (State, bool) {
	i := slices.Index(states[:], name)
	return State(max(i, 0)), i >= 0
}

// restore puts the point, which nothing has been found of, into what k says; away is how
// long ago that was, as far as is known.
func (p *point) restore(k Kept, away time.Duration) {
	state, _ := parseState(k.State)
	s := p.status
	s.Occurrence, s.Acknowledged, s.First = k.Occurrence, k.Acknowledged, k.First
	s.Value, s.Limit, s.Fault = k.Value, k.Limit, k.Fault
	p.since = -duration(k.Since) - away
	p.began = -duration(k.Began) - away
	s.Since = p.since
	if k.Holds {
		s.Condition = Holds
	}
	switch state {
	case Raised, Acknowledged, Suppressed:
		s.State = state
	case Shelved:
		s.State, p.shelved = state, true
		p.end = duration(k.Shelf) - away
		s.ShelvedUntil, s.ShelvedBy = p.end, k.ShelvedBy
	default:
		// What was normal then is not known to be so now.
		p.since, s.Since = 0, 0
	}
}

func duration(seconds float64) time.Duration { return time.Duration(seconds * float64(time.Second)) }

// channelOf is the channel's name, empty where the alarm has none.
func channelOf(k Key) string {
	if k.Channel < frame.Count {
		return k.Channel.String()
	}
	return ""
}
