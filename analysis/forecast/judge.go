package forecast

import (
	"fmt"
	"math"
	"time"

	"fluewright/analysis/alarm"
)

// Settings is what is known of one channel.
type Settings struct {
	Limit float64 // °C
	// Lag is the time constant of the sheath, as far as it was not made up for, s.
	Lag float64
}

// Inputs are one frame, as far as it concerns the channel.
type Inputs struct {
	At time.Duration
	// Value is the reading, °C; NaN for none.
	Value float64
	// Room is the room's temperature, °C; NaN where it is not known.
	Room float64
	// Draft is in Pa, NaN where there is no reading.
	Draft float64
	// Driven says that more than the usual air drives the fire: the draft stands above the
	// appliance's band, so that air does not limit the rise.
	Driven bool
}

// Finding is a judgement of one frame.
type Finding struct {
	Forecast
	Verdict alarm.Verdict
}

// Judge follows one channel. Make it with New.
type Judge struct {
	settings Settings
	track    *track
	course   course
	climb    climb
	decision decision
}

// New returns a judge of one channel that has seen nothing.
func New(s Settings) (*Judge, error) {
	if !(s.Limit > 0) || math.IsInf(s.Limit, 0) || !(s.Lag >= 0 && s.Lag <= maxLag) {
		return nil, fmt.Errorf("forecast: limit %g °C, lag %g s", s.Limit, s.Lag)
	}
	t, err := newTrack()
	if err != nil {
		return nil, fmt.Errorf("make filter: %w", err)
	}
	return &Judge{settings: s, track: t}, nil
}

// maxLag is that of the thickest sheath, s.
const maxLag = 300

// assumedRoom is taken where nothing measures it, °C.
const assumedRoom = 20.0

// Step judges one frame.
func (j *Judge) Step(in Inputs) Finding {
	if math.IsNaN(in.Value) {
		return Finding{Verdict: alarm.Blind}
	}
	j.track.step(in.At, in.Value)
	s := j.track.state()
	room := in.Room
	if math.IsNaN(room) || room >= j.settings.Limit {
		room = assumedRoom
	}
	limit, way := j.settings.Limit, j.settings.Limit-room
	j.course.step(in.At, s, room, limit)
	f := Finding{Forecast: project(in.At, s, limit, j.settings.Lag, j.course.believe(s, in.Driven))}
	if s.known {
		share, past := (s.level-room)/way, &j.course.past
		if s.slope > 0 {
			past.sees(f.Probability, share, s.slope)
			f.Probability = past.believes(f.Probability, share, s.slope, patience(&f.Forecast, limit))
		}
		j.climb.step(in.At, middle(j.track.recent), in.Draft, in.Driven, room, limit)
		if c := &j.climb; c.goesOn(s, limit) {
			past.sees(climbing, share, c.slope)
			if past.believes(climbing, share, c.slope, 1) >= said {
				c.tell(&f.Forecast, in.At, limit)
			}
		}
	}
	f.Verdict = j.decision.step(in.At, &f.Forecast, limit, way)
	return f
}

// Memory returns what to keep over a restart.
func (j *Judge) Memory() Memory { return j.course.past.memory }

// Restore takes what was kept. Nonsense counts as nothing.
func (j *Judge) Restore(m Memory) {
	if !m.sane() {
		m = Memory{}
	}
	j.course.past.memory = m
}
