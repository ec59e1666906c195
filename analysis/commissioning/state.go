package commissioning

import (
	"math"
	"time"

	"fluewright/analysis/burn"
	"fluewright/analysis/drive"
	"fluewright/analysis/frame"
	"fluewright/analysis/gas"
	"fluewright/analysis/setting"
	"fluewright/analysis/settle"
)

// Version is that of State as JSON.
const Version = 1

// State is a commissioning under way. Make one with New or NewSeason.
type State struct {
	Version int           `json:"version"`
	Season  bool          `json:"season"` // the short form
	Now     Step          `json:"now"`
	Task    Task          `json:"task"`
	Running bool          `json:"running"` // the person has done what is asked: it is measured
	Site    Site          `json:"site"`
	Results [Steps]Result `json:"results"`
	Expect  Prediction    `json:"expect"`
	Channel frame.Channel `json:"channel"`  // whose probe is to be warmed
	Wanted  float64       `json:"wanted"`   // the mark that is asked for
	Mark    float64       `json:"mark"`     // the one that is set
	Numbers Numbers       `json:"numbers"`  // what was measured so far
	Given   Given         `json:"given"`    // what was entered beside the site
	Watch   Measuring     `json:"watching"` // what is being measured now
	Moments Moments       `json:"moments"`
	Air     Weather       `json:"air"`
	fire    Fire          // as the latest frame says; a state that was read back has not looked
	latest  frame.Values  // likewise
	seen    bool
}

// Numbers are the measurements that the report and a later season need.
type Numbers struct {
	Cold     settle.Mean       `json:"cold"`
	ColdAt   float64           `json:"cold_difference_kelvin"` // room minus outdoors
	Fans     settle.Mean       `json:"fans"`
	Readings []setting.Reading `json:"readings,omitempty"`
	Fit      setting.Fit       `json:"fit"`
	Fitted   bool              `json:"fitted"`
	Flue     float64           `json:"flue_celsius"` // at the latest reading
	Low      float64           `json:"verified_low_pascals"`
	High     float64           `json:"verified_high_pascals"`
	Free     float64           `json:"free_pascals"` // before the gate was held
	Held     float64           `json:"held_pascals"`
	Reach    float64           `json:"reach_metres"` // draft over drive with the gate held
	Fire     []Minute          `json:"fire,omitempty"`
}

// Minute is the first fire in the minute that ends so many seconds after lighting.
type Minute struct {
	Second float64 `json:"second"`
	Flue   float64 `json:"flue_celsius"`
	Draft  float64 `json:"draft_pascals"`
}

// Moments are times since lighting, s; 0: not yet.
type Moments struct {
	DraftUp  float64 `json:"draft_up_seconds"`
	FanOn    float64 `json:"fan_on_seconds"`
	Clean    float64 `json:"clean_seconds"`
	Reversed float64 `json:"reversed_seconds"` // the draft had turned for so long
}

// Given is what was entered beside the site.
type Given struct {
	Checks [Checks]Seen `json:"checks"`
	Limits LimitEntry   `json:"limits"`
	Alarm  AlarmEntry   `json:"alarm"`
	People People       `json:"people"`
}

// LimitEntry is what the installer reads off the fan and limit control.
type LimitEntry struct {
	FanOn  float64 `json:"fan_on_celsius"`
	FanOff float64 `json:"fan_off_celsius"`
	// Untouched says that the high limit control is as its maker left it.
	Untouched bool `json:"high_limit_untouched"`
}

// AlarmEntry is what became of the test alarm.
type AlarmEntry struct {
	Sent         bool `json:"sent"`
	Acknowledged bool `json:"acknowledged"` // by the owner, on the owner's phone
}

// People stand under the report.
type People struct {
	Installer string `json:"installer"`
	Owner     string `json:"owner"`
}

// Weather is the air as last read.
type Weather struct {
	Outdoor  float64 `json:"outdoor_celsius"`
	Measured bool    `json:"outdoor_measured"`
	Room     float64 `json:"room_celsius"`
	RoomSeen bool    `json:"room_measured"`
	Pressure float64 `json:"pressure_pascals"` // 0: not measured
}

// Measuring is what a measurement under way has gathered.
type Measuring struct {
	Last    time.Duration        `json:"last_ns"`
	Begun   bool                 `json:"begun"`
	Elapsed float64              `json:"elapsed"` // s since ready
	Draft   settle.Watch         `json:"draft"`
	Drive   settle.Watch         `json:"drive"`
	Flue    Mean                 `json:"flue"`
	Base    Mean                 `json:"base"` // before
	Mean    Mean                 `json:"mean"`
	Before  [frame.Count]float64 `json:"before"` // temperatures before; 0 where none
	HasBase bool                 `json:"has_base"`
	Moved   bool                 `json:"moved"`
	Smooth  float64              `json:"smooth"` // draft, Pa, over some seconds
	Weak    float64              `json:"weak"`   // s that there was none beside a hot flue
	Turned  float64              `json:"turned"` // s that it has been reversed beside a fire
	Calm    float64              `json:"calm"`   // s within what is wanted, without a break
	Inside  int                  `json:"inside"`
	Minutes int                  `json:"minutes"`
	Sum     Mean                 `json:"sum"` // of the minutes in succession that were inside
}

// Mean is a running mean over time.
type Mean struct {
	Held   float64 `json:"held"` // s
	Value  float64 `json:"value"`
	Square float64 `json:"square"` // s times unit², about the mean
}

func (m *Mean) add(v, dt float64) {
	if math.IsNaN(v) || math.IsInf(v, 0) || !(dt > 0) {
		return
	}
	m.Held += dt
	off := v - m.Value
	m.Value += float64(off * dt / m.Held)
	m.Square += float64(dt * off * (v - m.Value))
}

func (m *Mean) spread() float64 {
	if m.Held <= 0 {
		return 0
	}
	return math.Sqrt(max(0, m.Square) / m.Held)
}

// Fire is what is known of the fire.
type Fire uint8

// What can be known of it.
const (
	FireUnknown Fire = iota
	NoFire
	Burning
)

// Look is one frame as the procedure sees it.
type Look struct {
	At     time.Duration
	Values frame.Values
	Phase  burn.Phase
}

// New begins a commissioning.
func New() *State {
	s := &State{Version: Version}
	s.enter(SiteData)
	return s
}

// NewSeason begins the short form of the first fire of a season, with the site as it was
// commissioned and the mark that it was left at.
func NewSeason(site Site, mark float64) (*State, error) {
	if err := site.Validate(); err != nil {
		return nil, err
	}
	s := &State{Version: Version, Season: true, Site: site}
	s.Site.Regulator.Mark = mark
	for step := range Steps {
		if !procedure[step].season {
			s.Results[step].Outcome = NotAsked
		}
	}
	s.enter(Sensors)
	return s, nil
}

// Fire returns what the latest frame says of the fire; unknown before the first.
func (s *State) Fire() Fire { return s.fire }

// Latest returns the latest frame's values, false before the first.
func (s *State) Latest() (frame.Values, bool) { return s.latest, s.seen }

// Over reports whether the procedure has ended.
func (s *State) Over() bool { return s.Task == Done }

// air returns the weather for a prediction.
func (s *State) air() Air {
	a := Air{Outdoor: s.Site.Outdoor, Room: 20, Pressure: gas.StandardAtmosphere(s.Site.Altitude).Pressure}
	if s.Air.Measured {
		a.Outdoor, a.Measured = s.Air.Outdoor, true
	}
	if s.Air.RoomSeen {
		a.Room = s.Air.Room
	}
	if s.Air.Pressure > 0 {
		a.Pressure = s.Air.Pressure
	}
	return a
}

// drive returns the drive of the flue's temperature in Pa/m.
func (s *State) drive(v *frame.Values) float64 {
	a := s.air()
	with := *v
	with[frame.Outdoor] = a.Outdoor
	d, _ := drive.Air{Pressure: a.Pressure}.Of(&with)
	return d
}

// enter goes to a step's first task.
func (s *State) enter(step Step) {
	s.Now = step
	s.ask(procedure[step].tasks[0])
}

// ask puts a task before the person.
func (s *State) ask(t Task) {
	s.Task, s.Running, s.Watch = t, false, Measuring{}
	switch t {
	case WarmProbe:
		s.Channel = frame.Flue
	case ReadMark:
		s.Wanted = s.Mark
		if len(s.Numbers.Readings) == 0 {
			s.Wanted = s.Site.Regulator.Mark
		}
	}
}

// add keeps a finding of the present step; one of the same code is replaced.
func (s *State) add(f Finding) {
	r := &s.Results[s.Now]
	for i := range r.Findings {
		if r.Findings[i].Code == f.Code {
			r.Findings[i] = f
			return
		}
	}
	r.Findings = append(r.Findings, f)
}

// onward goes to the task after the present one, or ends the step. What stops a fire ends
// the step at once.
func (s *State) onward() {
	tasks := procedure[s.Now].tasks
	for i, t := range tasks {
		if t == s.Task && i+1 < len(tasks) && s.Results[s.Now].worst() < Stop {
			s.ask(tasks[i+1])
			return
		}
	}
	s.conclude()
}

// conclude judges the step by its worst finding and goes to the next that is open.
func (s *State) conclude() {
	r := &s.Results[s.Now]
	switch w := r.worst(); {
	case w >= Bad:
		r.Outcome = Failure
		s.ask(Failed)
		return
	case w == Caution:
		r.Outcome = Cautioned
	default:
		r.Outcome = Passed
	}
	s.advance()
}

// advance goes to the first step that is not done.
func (s *State) advance() {
	for step := range Steps {
		if s.Results[step].Outcome == NotDone {
			s.enter(step)
			return
		}
	}
	s.Now = Closing
	s.ask(Done)
}
