package trend

import (
	"context"
	"encoding/json"
	"slices"
	"time"

	"fluewright/analysis/burn"
	"fluewright/daemon/internal/history"
)

// Happened is what happened in a window, each in the order of time.
type Happened struct {
	Phases  []PhaseLasted `json:"phases"`
	Alarms  []AlarmStood  `json:"alarms"`
	Loads   []Laid        `json:"loads"`
	Doors   []DoorStood   `json:"doors"`
	Notices []Noticed     `json:"notices"`
	// Notes are what people wrote and did: notes, fuel, calibrations, commissionings.
	Notes []Noted `json:"notes"`
}

// PhaseLasted is a stretch of time in one phase, as far as it lies in the window.
type PhaseLasted struct {
	From  time.Time `json:"from"`
	To    time.Time `json:"to"`
	Phase string    `json:"phase"`

	phase burn.Phase
}

// AlarmStood is one time that an alarm stood.
type AlarmStood struct {
	Alarm      string `json:"alarm"` // "name" or "name/channel"
	Occurrence int64  `json:"occurrence"`
	Priority   string `json:"priority"`
	// From is null where it was raised before the history, To where it is not over.
	From         *time.Time      `json:"from"`
	To           *time.Time      `json:"to"`
	Acknowledged *time.Time      `json:"acknowledged"`
	State        string          `json:"state"`
	Message      string          `json:"message"`
	Action       string          `json:"action"`
	Causes       json.RawMessage `json:"causes,omitempty"`

	spell Spell
}

// Laid is wood that was laid on.
type Laid struct {
	Time time.Time `json:"time"`
	// Cold says that it began a burn.
	Cold bool `json:"cold"`
	// Door says that a door was seen to open for it.
	Door bool `json:"door"`
}

// DoorStood is one time that a door was open; To is null where it was not seen to shut.
type DoorStood struct {
	From time.Time  `json:"from"`
	To   *time.Time `json:"to"`
}

// Noticed is a notice.
type Noticed struct {
	Time    time.Time `json:"time"`
	Notice  string    `json:"notice"`
	Message string    `json:"message"`
}

// Noted is what a person wrote or did.
type Noted struct {
	Time time.Time `json:"time"`
	// Kind is "note", "fuel", "calibration" or "commissioning".
	Kind   string `json:"kind"`
	Author string `json:"author,omitempty"`
	Text   string `json:"text"`
}

// WhatHappened lists it.
func WhatHappened(ctx context.Context, a History, w Window) (h Happened, err error) {
	if h.Phases, err = phases(ctx, a, w); err != nil {
		return h, err
	}
	spells, err := Spells(ctx, a, w)
	if err != nil {
		return h, err
	}
	h.Alarms = []AlarmStood{}
	for i := range spells {
		h.Alarms = append(h.Alarms, stood(&spells[i]))
	}
	h.Loads, h.Notices, h.Notes = []Laid{}, []Noticed{}, []Noted{}
	for _, kind := range []struct {
		table string
		take  func(*history.Event, fields)
	}{
		{"loads", func(e *history.Event, f fields) {
			l := Laid{Time: e.At, Cold: f.whole("cold") != 0, Door: f.whole("door") != 0}
			if at := f.whole("laid_ms"); at > 0 {
				l.Time = e.Moment(at)
			}
			h.Loads = append(h.Loads, l)
		}},
		{"notices", func(e *history.Event, f fields) {
			h.Notices = append(h.Notices, Noticed{e.At, f.text("notice"), f.text("message")})
		}},
		{"notes", func(e *history.Event, f fields) {
			h.Notes = append(h.Notes, Noted{e.At, "note", f.text("author"), f.text("note")})
		}},
		{"fuel", func(e *history.Event, f fields) {
			text := f.text("wood")
			if note := f.text("note"); note != "" && text != "" {
				text += "; " + note
			} else {
				text += note
			}
			h.Notes = append(h.Notes, Noted{e.At, "fuel", f.text("author"), text})
		}},
		{"calibrations", func(e *history.Event, f fields) {
			h.Notes = append(h.Notes, Noted{e.At, "calibration", "", f.text("channel") + ": " + f.text("method")})
		}},
		{"commissionings", func(e *history.Event, _ fields) {
			h.Notes = append(h.Notes, Noted{e.At, "commissioning", "", ""})
		}},
	} {
		events, err := a.Events(ctx, kind.table, w.From, w.To)
		if err != nil {
			return h, err
		}
		for i := range events {
			kind.take(&events[i], events[i].Fields)
		}
	}
	slices.SortStableFunc(h.Notes, func(a, b Noted) int { return a.Time.Compare(b.Time) })
	h.Doors, err = doors(ctx, a, w)
	return h, err
}

func stood(s *Spell) AlarmStood {
	known := func(t time.Time) *time.Time {
		if t.IsZero() {
			return nil
		}
		return &t
	}
	return AlarmStood{
		Alarm: s.Name, Occurrence: s.Occurrence, Priority: s.Priority.String(), From: known(s.From), To: known(s.To),
		Acknowledged: known(s.Acknowledged), State: s.State, Message: s.Message, Action: s.Action, Causes: json.RawMessage(s.Causes), spell: *s,
	}
}

// lookBack is how far before a window the phase that it begins in is looked for first.
const lookBack = 48 * time.Hour

// phases are those within a window. Time in which the program did not run has none, nor has
// the beginning of a run until a phase is told or was told before.
func phases(ctx context.Context, a History, w Window) ([]PhaseLasted, error) {
	all := []PhaseLasted{}
	boots, err := a.Boots(ctx, w.From, w.To)
	if err != nil || len(boots) == 0 {
		return all, err
	}
	from := later(boots[0].From, w.From.Add(-lookBack))
	events, err := a.Events(ctx, "phases", from, w.To)
	if err != nil {
		return nil, err
	}
	byRun := map[int64][]history.Event{}
	for _, e := range events {
		byRun[e.Run] = append(byRun[e.Run], e)
	}
	for _, b := range boots {
		told := byRun[b.Run]
		if len(told) == 0 && b.From.Before(from) {
			if told, err = a.Events(ctx, "phases", b.From, w.To); err != nil {
				return nil, err
			}
			told = slices.DeleteFunc(told, func(e history.Event) bool { return e.Run != b.Run })
		}
		all = append(all, phasesOf(b, told, w)...)
	}
	return all, nil
}

// phasesOf are those of one run.
func phasesOf(b history.Boot, told []history.Event, w Window) (all []PhaseLasted) {
	at, phase := b.From, burn.Unknown
	add := func(to time.Time) {
		from, to := later(at, w.From), earlier(to, w.To)
		if phase != burn.Unknown && from.Before(to) {
			all = append(all, PhaseLasted{from, to, phase.String(), phase})
		}
	}
	for i := range told {
		f := fields(told[i].Fields)
		if i == 0 {
			phase = phaseCalled(f.text("before"))
		}
		add(told[i].At)
		at, phase = told[i].At, phaseCalled(f.text("phase"))
	}
	add(b.To)
	return all
}

// doors are the times a door was open.
func doors(ctx context.Context, a History, w Window) ([]DoorStood, error) {
	all := []DoorStood{}
	events, err := a.Events(ctx, "doors", w.From, w.To)
	if err != nil {
		return nil, err
	}
	open := false
	for i := range events {
		f := fields(events[i].Fields)
		if f.whole("open") != 0 {
			all, open = append(all, DoorStood{From: events[i].Moment(f.whole("opened_ms"))}), true
		} else if open {
			at := events[i].At
			all[len(all)-1].To, open = &at, false
		}
	}
	return all, nil
}
