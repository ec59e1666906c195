// Package statustest makes ticks of a furnace that does not exist, for the tests of
// whatever shows or sends them.
package statustest

import (
	"maps"
	"math"
	"slices"
	"time"

	"fluewright/analysis"
	"fluewright/analysis/alarm"
	"fluewright/analysis/burn"
	"fluewright/analysis/frame"
	"fluewright/daemon/internal/status"
	"fluewright/daemon/internal/verdict"
	"fluewright/sensors"
)

// Wall is the wall clock of the first tick.
var Wall = time.Date(2026, time.January, 17, 20, 15, 0, 0, time.UTC)

// Fitted are the channels that have a sensor.
var Fitted = [frame.Count]bool{
	frame.Firebox: true, frame.Flue: true, frame.Plenum: true, frame.Room: true, frame.Draft: true, frame.Ambient: true,
}

// Site words alarms plainly.
var Site = verdict.Site{
	Fitted: Fitted,
	Render: func(a alarm.Status, _ *status.Status) (message, action string) {
		switch a.Key.Name {
		case alarm.Overheat:
			return "The " + a.Key.Channel.String() + " is too hot.", "Close the air inlet. Do not open the loading door."
		case alarm.Spillage:
			return "The draft has turned: flue gas may come into the house.", "Open a window, leave the room, and see that nobody sleeps in the house."
		case alarm.SensorLost:
			return "The " + a.Key.Channel.String() + " reading is lost.", "Watch the furnace yourself; check the sensor's plug and wire."
		}
		return "The draft is outside its band.", "Look at the regulator: it must swing freely."
	},
}

var values = map[frame.Channel]float64{
	frame.Firebox: 642.5, frame.Flue: 236.37, frame.Plenum: 58.2, frame.Room: 17.4, frame.Draft: 12.4567, frame.Ambient: 98213.4,
}

// Burning is a tick in a clean burn at which all is well.
func Burning() *status.Status {
	s := &status.Status{Site: "cellar-7", Seq: 3600, Wall: Wall, ClockTrusted: true}
	s.Frame.At = time.Hour
	for c, v := range values {
		s.Frame.Inputs[c] = frame.Input{Value: v, Quality: frame.Good}
		s.Taken[c] = Wall.Add(-200 * time.Millisecond)
	}
	s.Assessment = analysis.Assessment{
		At: time.Hour, Phase: burn.CleanBurn, PhaseSince: 40 * time.Minute, Burning: true,
		Burn:  burn.Summary{Start: 20 * time.Minute, PeakFlue: 251, PeakChamber: math.NaN(), CleanBurn: 20 * time.Minute, MeanDraft: 12.1},
		Draft: frame.Input{Value: 12.31, Quality: frame.Good},
	}
	none := func(n alarm.Name) alarm.Key { return alarm.Key{Name: n, Channel: frame.Count} }
	add := func(k alarm.Key, p alarm.Priority) {
		s.Assessment.Alarms = append(s.Assessment.Alarms, alarm.Status{Key: k, Priority: p, State: alarm.Normal, Since: time.Minute})
	}
	add(alarm.Key{Name: alarm.Overheat, Channel: frame.Firebox}, alarm.High)
	add(alarm.Key{Name: alarm.Overheat, Channel: frame.Flue}, alarm.High)
	add(none(alarm.Spillage), alarm.High)
	add(none(alarm.DraftLow), alarm.Medium)
	add(none(alarm.DraftHigh), alarm.Medium)
	for _, c := range frame.All() {
		if Fitted[c] {
			add(alarm.Key{Name: alarm.SensorLost, Channel: c}, alarm.Medium)
		}
	}
	s.Sensors = []status.Sensor{
		{
			Name: "flue", Chip: "max31856", Bus: "/dev/spidev0.0", Channels: []frame.Channel{frame.Flue},
			Up: true, LastGood: Wall, Samples: 3590, Took: 900 * time.Microsecond,
			Faults: map[sensors.Code]uint64{sensors.OpenCircuit: 7, sensors.NoAnswer: 3},
		},
		{
			Name: "draft", Chip: "sdp810-125pa", Bus: "/dev/i2c-1", Address: 0x25, Channels: []frame.Channel{frame.Draft},
			Up: true, LastGood: Wall, Samples: 3600, Took: 400 * time.Microsecond,
		},
	}
	return s
}

// Starting is the first tick: nothing was read, nothing is judged.
func Starting() *status.Status {
	s := Burning()
	s.Seq, s.Frame.At, s.ClockTrusted = 1, 0, false
	s.Frame.Inputs = [frame.Count]frame.Input{}
	s.Taken = [frame.Count]time.Time{}
	alarms := s.Assessment.Alarms
	for i := range alarms {
		alarms[i].State, alarms[i].Blind, alarms[i].Since = alarm.Unjudged, true, 0
	}
	s.Assessment = analysis.Assessment{Alarms: alarms}
	for i := range s.Sensors {
		s.Sensors[i].Up, s.Sensors[i].LastGood, s.Sensors[i].Samples, s.Sensors[i].Faults = false, time.Time{}, 0, nil
	}
	return s
}

// After returns a copy of s that is d later, without its events.
func After(s *status.Status, d time.Duration) *status.Status {
	next := *s
	next.Seq++
	next.Wall = s.Wall.Add(d)
	next.Frame.At += d
	next.Assessment.At += d
	next.Assessment.Alarms = slices.Clone(s.Assessment.Alarms)
	next.Assessment.Events = nil
	for c := range next.Taken {
		if s.Frame.Inputs[c].Usable() {
			next.Taken[c] = s.Taken[c].Add(d)
		}
	}
	next.Sensors = slices.Clone(s.Sensors)
	for i := range next.Sensors {
		next.Sensors[i].Faults = maps.Clone(s.Sensors[i].Faults)
	}
	return &next
}

// Change puts the alarm n, on channel c or frame.Count, into a state, as an event of s.
func Change(s *status.Status, n alarm.Name, c frame.Channel, to alarm.State, value, limit float64) {
	i := slices.IndexFunc(s.Assessment.Alarms, func(a alarm.Status) bool { return a.Key == alarm.Key{Name: n, Channel: c} })
	a := &s.Assessment.Alarms[i]
	change := alarm.BecameKnown
	switch {
	case to == alarm.Shelved:
		change = alarm.WasShelved
		a.ShelvedBy, a.ShelvedUntil = "Ann", s.Frame.At+time.Hour
	case to == alarm.Acknowledged:
		change, a.Acknowledged = alarm.WasAcknowledged, true
	case to == alarm.Suppressed:
		change, a.Condition, a.SuppressedBy = alarm.WasSuppressed, alarm.Holds, alarm.Spillage
	case to == alarm.Raised:
		change = alarm.WasRaised
		a.Occurrence++
	case a.State.Standing():
		change = alarm.WasCleared
	}
	a.State, a.Since, a.Value, a.Limit, a.Blind = to, s.Frame.At, value, limit, false
	s.Assessment.Events = append(s.Assessment.Events, analysis.Event{
		At: s.Frame.At, Kind: analysis.AlarmChanged, Alarm: *a, Change: change,
	})
}

// Lose puts a channel's sensor at fault, so that what depends on it is blind.
func Lose(s *status.Status, c frame.Channel, code sensors.Code) {
	s.Frame.Inputs[c] = frame.Input{Value: values[c], Quality: frame.Faulty, Fault: string(code)}
	if c == frame.Draft {
		s.Assessment.Draft = s.Frame.Inputs[c]
	}
	for i := range s.Assessment.Alarms {
		a := &s.Assessment.Alarms[i]
		aboutDraft := a.Key.Channel == frame.Count
		if a.Key.Name != alarm.SensorLost && (a.Key.Channel == c || aboutDraft && c == frame.Draft) {
			a.Blind = true
		}
	}
	for i := range s.Sensors {
		if s.Sensors[i].Channels[0] == c {
			s.Sensors[i].Up = false
			s.Sensors[i].Fault = &sensors.Fault{Code: code, Device: s.Sensors[i].Chip + " on " + s.Sensors[i].Bus}
			s.Sensors[i].Faults = maps.Clone(s.Sensors[i].Faults)
			if s.Sensors[i].Faults == nil {
				s.Sensors[i].Faults = make(map[sensors.Code]uint64)
			}
			s.Sensors[i].Faults[code]++
		}
	}
}
