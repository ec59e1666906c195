package api

import (
	"cmp"
	"math"
	"net/http"
	"time"

	"fluewright/analysis/burn"
	"fluewright/analysis/frame"
	"fluewright/daemon/internal/status"
	"fluewright/daemon/internal/verdict"
	"fluewright/sensors"
)

// Moment says of when an answer is.
type Moment struct {
	// Time is that of the newest tick.
	Time time.Time `json:"time"`
	// ClockTrusted says that the monitor's clock was known to be synchronised.
	ClockTrusted bool `json:"clock_trusted"`
	// Silent is how long nothing has been read since, where that is too long: the answer is
	// then blind. Null while readings come.
	Silent *float64 `json:"silent_seconds"`
}

// State is how things are now.
type State struct {
	Moment
	Verdict Said `json:"verdict"`
	// Readings are those of the channels that have a sensor.
	Readings []Reading `json:"readings"`
	// Draft is its average against the appliance's band; null without a sensor for it.
	Draft *Draft `json:"draft"`
	Fire  Fire   `json:"fire"`
	// Burn is the burn so far; null where none goes on, or where that cannot be told.
	Burn *BurnSoFar `json:"burn"`
	// Forecasts say where each channel with a limit is going.
	Forecasts []Forecast `json:"forecasts"`
}

// Said is the verdict, in words for the owner.
type Said struct {
	// Level is "checking", "blind", "alarm" or "well". Only "well" says that every alarm is
	// judged and none stands.
	Level    string `json:"level"`
	Headline string `json:"headline"`
	// Action is what to do first; empty where there is nothing to do.
	Action string `json:"action"`
	// Missing lists the channels that have a sensor and no usable reading.
	Missing []string `json:"missing"`
}

// Reading is a channel's latest, null where there is none that may be shown.
type Reading struct {
	Channel string   `json:"channel"`
	Value   *float64 `json:"value"`
	Unit    string   `json:"unit"` // "celsius" or "pascals"
	// Quality is "good", "suspect", "stale", "fault" or "absent".
	Quality string `json:"quality"`
	// Why says in words what is wrong with it.
	Why string `json:"why,omitempty"`
	// Taken is when it was last really measured.
	Taken *time.Time `json:"taken_at"`
	// Limit is the temperature that the channel should not pass; null where there is none.
	Limit *float64 `json:"limit_celsius"`
}

// Draft is the draft averaged against wind.
type Draft struct {
	Value   *float64 `json:"value_pascals"`
	Quality string   `json:"quality"`
	// Low and High are the band; null where none is configured.
	Low  *float64 `json:"low_pascals"`
	High *float64 `json:"high_pascals"`
	// Position is "unknown" without a reading, "turned" below zero, then "below", "within"
	// or "above" the band, or "no-band".
	Position string `json:"position"`
}

// Fire is how the fire burns.
type Fire struct {
	// Phase is "unknown" too where a reading is missing that it is told by.
	Phase string     `json:"phase"`
	Since *time.Time `json:"since"`
	// Burning says that something burns or glows; null where that cannot be told.
	Burning *bool `json:"burning"`
}

// BurnSoFar is a burn that goes on. What was not measured is null.
type BurnSoFar struct {
	Start time.Time `json:"start"`
	// Kind is how it began: "cold-start", "reload", "found".
	Kind        string   `json:"kind"`
	Loads       int      `json:"loads"`
	Doors       int      `json:"doors"`
	PeakFlue    *float64 `json:"peak_flue_celsius"`
	PeakChamber *float64 `json:"peak_chamber_celsius"`
	MeanDraft   *float64 `json:"mean_draft_pascals"`
	// Seconds in each phase; unseen is what nobody saw.
	Lighting  float64 `json:"lighting_seconds"`
	WarmUp    float64 `json:"warm_up_seconds"`
	CleanBurn float64 `json:"clean_burn_seconds"`
	Smoulder  float64 `json:"smoulder_seconds"`
	Coals     float64 `json:"coals_seconds"`
	Unseen    float64 `json:"unseen_seconds"`
}

// Forecast says where a channel with a limit is going.
type Forecast struct {
	Channel string  `json:"channel"`
	Limit   float64 `json:"limit_celsius"`
	// Known is false where there is nothing to tell it by: that says nothing of the course.
	Known bool `json:"known"`
	// Peak is the highest to be expected, and Probability that of the limit being passed.
	Peak        *float64 `json:"peak_celsius"`
	Probability *float64 `json:"probability"`
	// ExpectedAt is when the limit is expected to be passed; null where it is not, or where
	// nothing is known.
	ExpectedAt *time.Time `json:"expected_at"`
}

// state answers /api/v1/state with a [State].
func (a *API) state(w http.ResponseWriter, r *http.Request) {
	if s, silence, ok := a.now(w, r); ok {
		a.answer(w, r, a.stateOf(s, silence))
	}
}

// now returns the newest tick, and how long it has been quiet since if that is too long. It
// answers itself where there is none, or where the request has parameters.
func (a *API) now(w http.ResponseWriter, r *http.Request) (s *status.Status, silence time.Duration, ok bool) {
	if !a.plain(w, r) {
		return nil, 0, false
	}
	if s = a.o.Feed.Latest(); s == nil {
		w.Header().Set("Retry-After", "2")
		Refuse(w, http.StatusServiceUnavailable, "Nothing has been read yet: the monitor has just started. That says nothing of the fire.")
		return nil, 0, false
	}
	return s, a.silence(), true
}

// silence is how long nothing has been read, if that is too long, else zero.
func (a *API) silence() time.Duration {
	if age, ok := a.o.Feed.Age(); ok && age > a.o.StaleAfter {
		return age
	}
	return 0
}

func momentOf(s *status.Status, silence time.Duration) Moment {
	m := Moment{Time: s.Wall.UTC(), ClockTrusted: s.ClockTrusted}
	if silence > 0 {
		d := silence.Seconds()
		m.Silent = &d
	}
	return m
}

func (a *API) stateOf(s *status.Status, silence time.Duration) State {
	judged := a.o.Verdict.Judge(s, silence)
	out := State{
		Moment:   momentOf(s, silence),
		Verdict:  Said{judged.Level.String(), judged.Headline, judged.Action, []string{}},
		Readings: []Reading{}, Forecasts: []Forecast{}, Fire: Fire{Phase: burn.Unknown.String()},
	}
	for _, c := range judged.Missing {
		out.Verdict.Missing = append(out.Verdict.Missing, c.String())
	}
	for _, c := range frame.All() {
		if a.o.Verdict.Fitted[c] {
			out.Readings = append(out.Readings, a.reading(s, c, silence))
		}
		if a.limits()[c] > 0 {
			out.Forecasts = append(out.Forecasts, a.forecast(s, c, silence))
		}
	}
	if a.o.Verdict.Fitted[frame.Draft] {
		out.Draft = a.draft(s, silence > 0 || !verdict.Readable(s.Frame.Inputs[frame.Draft]))
	}
	if as := &s.Assessment; silence == 0 && !as.PhaseHeld && judged.SeesFire() && as.Phase != burn.Unknown {
		out.Fire = Fire{as.Phase.String(), known(s.WallOf(as.PhaseSince)), &as.Burning}
		if as.Burning {
			out.Burn = burnSoFar(s)
		}
	}
	return out
}

func (a *API) limits() *[frame.Count]float64 { return &a.o.Site.Config.Analysis.Limits }

func (a *API) reading(s *status.Status, c frame.Channel, silence time.Duration) Reading {
	in := s.Frame.Inputs[c]
	if silence > 0 && in.Usable() {
		in = frame.Input{Quality: frame.Stale}
	}
	r := Reading{Channel: c.String(), Unit: "celsius", Quality: in.Quality.String(), Taken: known(s.Taken[c])}
	if c.Pressure() {
		r.Unit = "pascals"
	}
	if verdict.Readable(in) {
		r.Value = &in.Value
	}
	if in.Fault != "" {
		r.Why = cmp.Or(sensors.Code(in.Fault).Info().Title, in.Fault)
	}
	limit := a.limits()[c]
	if c == frame.Plenum {
		limit = s.Assessment.Plenum.Limit
	}
	if limit > 0 {
		r.Limit = number(limit)
	}
	return r
}

func (a *API) draft(s *status.Status, blind bool) *Draft {
	d := &Draft{Quality: s.Assessment.Draft.Quality.String(), Position: "unknown"}
	low, high := a.o.Site.Config.Analysis.DraftLow, a.o.Site.Config.Analysis.DraftHigh
	if high > 0 {
		d.Low, d.High = &low, &high
	}
	in := s.Assessment.Draft
	if blind || !verdict.Readable(in) {
		if in.Usable() {
			d.Quality = frame.Stale.String()
		}
		return d
	}
	d.Value = &in.Value
	switch {
	case in.Value < 0:
		d.Position = "turned"
	case high <= 0:
		d.Position = "no-band"
	case in.Value < low:
		d.Position = "below"
	case in.Value > high:
		d.Position = "above"
	default:
		d.Position = "within"
	}
	return d
}

func burnSoFar(s *status.Status) *BurnSoFar {
	b := &s.Assessment.Burn
	in := func(p burn.Phase) float64 { return b.In[p].Seconds() }
	return &BurnSoFar{
		Start: s.WallOf(b.Start).UTC(), Kind: b.Kind.String(), Loads: b.Loads, Doors: b.Doors,
		PeakFlue: number(b.PeakFlue), PeakChamber: number(b.PeakChamber), MeanDraft: number(b.MeanDraft),
		Lighting: in(burn.Lighting), WarmUp: in(burn.WarmUp), CleanBurn: in(burn.CleanBurn),
		Smoulder: in(burn.Smoulder), Coals: in(burn.Coals), Unseen: in(burn.Unknown),
	}
}

func (a *API) forecast(s *status.Status, c frame.Channel, silence time.Duration) Forecast {
	f := &s.Assessment.Forecasts[c]
	out := Forecast{Channel: c.String(), Limit: a.limits()[c]}
	if !f.Known || silence > 0 || !verdict.Readable(s.Frame.Inputs[c]) {
		return out
	}
	out.Known, out.Peak, out.Probability = true, number(f.Peak), number(f.Probability)
	if f.Passes {
		out.ExpectedAt = known(s.WallOf(f.At))
	}
	return out
}

// number is nil for what is none.
func number(v float64) *float64 {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return nil
	}
	return &v
}

// known is nil for the zero time.
func known(t time.Time) *time.Time {
	if t.IsZero() {
		return nil
	}
	t = t.UTC()
	return &t
}
