package analysis

import (
	"fmt"
	"math"
	"time"

	"fluewright/analysis/alarm"
	"fluewright/analysis/burn"
	"fluewright/analysis/cause"
	"fluewright/analysis/chimney"
	"fluewright/analysis/chimneyfire"
	"fluewright/analysis/drive"
	"fluewright/analysis/flueway"
	"fluewright/analysis/forecast"
	"fluewright/analysis/frame"
	"fluewright/analysis/gas"
	"fluewright/analysis/gate"
	"fluewright/analysis/notice"
	"fluewright/analysis/plenum"
	"fluewright/analysis/spillage"
)

// judges are those who follow the furnace, each for one question.
type judges struct {
	tracker   *burn.Tracker
	forecasts [frame.Count]*forecast.Judge // nil where there is no limit
	fire      chimneyfire.Judge
	spill     spillage.Judge
	plenum    plenum.Judge
	gate      *gate.Judge
	way       flueway.Judge
	causes    cause.Tracker
	notices   notice.Judge

	burnt    time.Duration // when the chimney was last seen to burn
	hasBurnt bool

	doubted bool          // the draft was, and has not drawn for soundFor since
	drew    time.Duration // it has begun to
	draws   bool
}

// soundFor is how long a draft that was doubted must draw beside a fire before it tells of
// regulator and flue again (judgement).
const soundFor = 10 * time.Minute

// unsettled is how long the draft tells nothing of regulator and flue after a chimney fire:
// the whole chimney is hot then (judgement).
const unsettled = 6 * time.Hour

// found is what they make of the frame in hand.
type found struct {
	phase     burn.Phase // Unknown while nobody sees whether there is a fire
	changes   burn.Changes
	load      burn.Load
	door      bool
	forecasts [frame.Count]forecast.Finding
	fire      chimneyfire.Finding
	spill     spillage.Finding
	plenum    plenum.Finding
	gate      gate.Finding
	way       flueway.Finding
}

func newJudges(s *Settings) (judges, error) {
	pressure := gas.StandardAtmosphere(s.Altitude).Pressure
	site := burn.Site{DraftLow: s.DraftLow, DraftHigh: s.DraftHigh, Limits: s.Limits, AirFlow: s.AirFlow}
	reach := 0.0
	if s.Chimney != (chimney.System{}) {
		site.Flue = burn.TypicalFlue()
		site.Flue.System = s.Chimney
		reach = gate.ReachOf(s.Chimney, pressure)
	}
	regulator := gate.Settings{
		Unfitted: s.Regulator.Unfitted, Set: s.Regulator.Set,
		DraftLow: s.DraftLow, DraftHigh: s.DraftHigh,
		Reach: reach, Air: drive.Air{Pressure: pressure},
	}
	if err := regulator.Validate(); err != nil {
		return judges{}, fmt.Errorf("judge the regulator: %w", err)
	}
	j := judges{
		tracker: burn.New(site),
		fire:    chimneyfire.New(chimneyfire.Settings{FlueLimit: s.Limits[frame.Flue]}),
		plenum:  plenum.New(plenum.Settings{Limit: s.PlenumLimit}),
		gate:    gate.New(regulator),
	}
	for c, limit := range s.Limits {
		if !s.Fitted[c] || limit <= 0 {
			continue
		}
		var err error
		if j.forecasts[c], err = forecast.New(forecast.Settings{Limit: limit, Lag: s.Lags[c]}); err != nil {
			return judges{}, fmt.Errorf("judge the %v: %w", frame.Channel(c), err)
		}
	}
	return j, nil
}

// step lets everybody judge the frame.
func (e *Engine) step(v *view) {
	j, f := &e.judges, &v.found
	values := v.values
	draft := math.NaN()
	if v.draft.Usable() && v.implausible[frame.Draft] == "" {
		draft = v.draft.Value
	}

	f.changes = j.tracker.Step(burn.Inputs{At: v.At, Values: values})
	f.phase = j.tracker.Phase
	f.door = j.tracker.Door().Open
	f.load, _ = j.tracker.Load()
	if !values.Has(frame.Flue) && !f.phase.Fire() {
		// Nobody sees whether a fire was lit since; a fire that was seen is taken to
		// burn on.
		f.phase = burn.Unknown
	}

	f.fire = j.fire.Step(chimneyfire.Inputs{At: v.At, Values: values, Phase: f.phase, DoorOpen: f.door})
	f.spill = j.spill.Step(spillage.Inputs{
		At: v.At, Values: values, Phase: f.phase, DoorOpen: f.door, DoorLikely: j.tracker.DoorLikely(),
	})
	f.plenum = j.plenum.Step(plenum.Inputs{At: v.At, Values: values, Phase: f.phase})
	for c, judge := range j.forecasts {
		if judge != nil {
			f.forecasts[c] = judge.Step(forecast.Inputs{
				At: v.At, Value: values[c], Room: values[frame.Room], Draft: draft, Driven: draft > e.settings.DraftHigh,
			})
		}
	}
	if f.fire.Verdict == alarm.Present {
		j.burnt, j.hasBurnt = v.At, true
	}
	f.gate = j.gate.Step(gate.Inputs{
		At: v.At, Values: values, Phase: f.phase,
		Spoilt: f.door || f.spill.Turned || j.unsound(e, v) || j.hasBurnt && v.At-j.burnt < unsettled,
	})
	minute, full := j.gate.Minute()
	way := flueway.Inputs{At: v.At, Phase: f.phase, Minute: minute, Full: full, Course: j.gate.Course(), Gate: f.gate}
	if !e.settings.Regulator.Unfitted {
		way.DraftLow, way.DraftHigh = e.settings.DraftLow, e.settings.DraftHigh
	}
	f.way = j.way.Step(way)
	j.causes.Step(cause.Inputs{
		At: v.At, Values: values, Phase: f.phase, Load: f.load, Door: f.door,
		DraftLow: e.settings.DraftLow, DraftHigh: e.settings.DraftHigh, Limits: e.settings.Limits,
		BlowerStopped: f.plenum.Stopped == alarm.Present, ChimneyFire: f.fire.Verdict == alarm.Present,
	})
}

// unsound reports whether the draft is doubted or was, and has not shown since that the
// sensor feels the chimney.
func (j *judges) unsound(e *Engine, v *view) bool {
	draws := v.phase.Fire() && v.draft.Usable() && v.draft.Value >= e.settings.DraftLow/2
	switch {
	case v.implausible[frame.Draft] != "":
		j.doubted, j.draws = true, false
	case !draws:
		j.draws = false
	case !j.draws:
		j.draws, j.drew = true, v.At
	case v.At-j.drew >= soundFor:
		j.doubted = false
	}
	return j.doubted
}
