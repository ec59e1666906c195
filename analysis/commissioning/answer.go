package commissioning

import (
	"slices"
	"strings"
	"unicode/utf8"

	"fluewright/analysis/frame"
)

// Kind is what an entry does.
type Kind string

// The kinds of entry.
const (
	Ready   Kind = "ready"   // what is asked was done: measure
	Give    Kind = "give"    // the member that the task asks for
	Without Kind = "without" // there is nothing of the kind here: no fans
	Skip    Kind = "skip"    // the step, with a Reason
	Repeat  Kind = "repeat"  // the step named, from its beginning
	GoOn    Kind = "go-on"   // past a step that failed, where that is allowed
)

// Entry is what a person enters. Step and Task say what the person was looking at: what
// has moved on meanwhile is refused.
type Entry struct {
	Kind   Kind          `json:"kind"`
	Step   Step          `json:"step"`
	Task   Task          `json:"task"`
	Reason string        `json:"reason,omitempty"`
	Looked bool          `json:"looked,omitempty"` // a person has looked: no fire, no coals
	Mark   float64       `json:"mark,omitempty"`
	Site   *Site         `json:"site,omitempty"`
	Checks *[Checks]Seen `json:"checks,omitempty"`
	Limits *LimitEntry   `json:"limits,omitempty"`
	Alarm  *AlarmEntry   `json:"alarm,omitempty"`
	People *People       `json:"people,omitempty"`
}

// Refusal says why an entry was not taken; nothing has changed.
type Refusal struct {
	Code   string // has its words where findings are told
	Detail string // what is impossible, in plain words; may be empty
}

// Error returns the code with its detail.
func (r *Refusal) Error() string {
	if r.Detail == "" {
		return r.Code
	}
	return r.Code + ": " + r.Detail
}

func refuse(code string) error { return &Refusal{Code: code} }

// The codes of refusals.
const (
	OutOfOrder   = "out-of-order"  // another step or task is on
	NotPossible  = "not-possible"  // the task does not take such an entry
	Impossible   = "impossible"    // the entry: Detail says what
	Incomplete   = "incomplete"    // a check is unanswered
	FireBurns    = "fire-burns"    // with a hose off or the appliance open that is dangerous
	FireNotSeen  = "fire-not-seen" // the flue is not read: somebody has to look and say so
	NoFireYet    = "no-fire"       // it needs a fire
	NoDraftRead  = "no-draft"      // the draft is not read
	NoFlueRead   = "no-flue"       // the flue is not read
	ReasonNeeded = "reason-needed" // why the step is skipped
	PutRight     = "put-right"     // it has failed, and what failed is put right, not passed over
	NoReadings   = "no-readings"   // no frame yet
	UnderWay     = "under-way"     // it is being measured
	NotPart      = "not-part"      // not a part of the short form
	NotYetThere  = "not-there-yet" // a later step cannot be repeated
	DraftTurned  = "draft-turned"  // the draft is reversed now
	TooHot       = "too-hot"       // more draft or an open door would drive the fire further
	longestText  = 200             // bytes of a reason or a name
	fanLowest    = 25.0            // °C that a fan control may stand at
	fanHighest   = 95.0
)

// Answer takes an entry. A *Refusal says why it was not taken.
func (s *State) Answer(e Entry) error {
	if e.Kind == Repeat {
		return s.repeat(e)
	}
	if e.Step != s.Now || e.Task != s.Task || s.Task == Done {
		return refuse(OutOfOrder)
	}
	switch e.Kind {
	case Skip:
		return s.skip(e)
	case GoOn:
		return s.goOn()
	case Without:
		if s.Task != ReadFans {
			return refuse(NotPossible)
		}
		s.add(found("no-fans", Noted))
		s.onward()
		return nil
	case Give:
		return s.give(e)
	case Ready:
		return s.ready(e)
	}
	return refuse(NotPossible)
}

func (s *State) skip(e Entry) error {
	reason := strings.TrimSpace(e.Reason)
	switch {
	case reason == "":
		return refuse(ReasonNeeded)
	case !text(reason):
		return &Refusal{Impossible, "the reason: 1 to 200 bytes of text"}
	case s.Now == SiteData || s.Now == Closing:
		return refuse(NotPossible)
	case s.Results[s.Now].worst() >= Bad && procedure[s.Now].vital, s.Results[s.Now].worst() == Stop:
		return refuse(PutRight)
	}
	r := &s.Results[s.Now]
	r.Outcome, r.Reason = Skipped, reason
	s.advance()
	return nil
}

func (s *State) goOn() error {
	switch {
	case s.Task != Failed:
		return refuse(NotPossible)
	case procedure[s.Now].vital || s.Results[s.Now].worst() == Stop:
		return refuse(PutRight)
	}
	s.advance()
	return nil
}

// repeat begins a step anew that was reached already.
func (s *State) repeat(e Entry) error {
	switch {
	case e.Step >= Steps:
		return refuse(NotPossible)
	case s.Results[e.Step].Outcome == NotAsked:
		return refuse(NotPart)
	case e.Step > s.Now && s.Results[e.Step].Outcome == NotDone:
		return refuse(NotYetThere)
	}
	s.Results[e.Step] = Result{}
	switch e.Step {
	case FirstFire:
		s.Moments, s.Numbers.Fire = Moments{}, nil
	case Setting:
		n := &s.Numbers
		if k := len(n.Readings); k > 0 {
			s.Site.Regulator.Mark = s.Mark
		}
		n.Readings, n.Fitted, n.Low, n.High = nil, false, 0, 0
	}
	s.enter(e.Step)
	return nil
}

func (s *State) give(e Entry) error {
	switch {
	case s.Task == EnterSite && e.Site != nil:
		return s.giveSite(*e.Site)
	case s.Task == LookAround && e.Checks != nil:
		return s.giveChecks(*e.Checks)
	case s.Task == EnterLimits && e.Limits != nil:
		return s.giveLimits(*e.Limits)
	case s.Task == TestAlarm && e.Alarm != nil:
		s.Given.Alarm = *e.Alarm
		switch {
		case !e.Alarm.Sent:
			s.add(found("alarm-not-sent", Bad))
		case !e.Alarm.Acknowledged:
			s.add(found("alarm-not-acknowledged", Bad))
		default:
			s.add(found("alarm-acknowledged", Good))
		}
		s.onward()
		return nil
	case s.Task == Sign && e.People != nil:
		p := People{strings.TrimSpace(e.People.Installer), strings.TrimSpace(e.People.Owner)}
		if !text(p.Installer) || p.Owner != "" && !text(p.Owner) {
			return &Refusal{Impossible, "the names: 1 to 200 bytes of text"}
		}
		s.Given.People = p
		s.onward()
		return nil
	}
	return refuse(NotPossible)
}

// text reports whether a line of text may stand in a report.
func text(t string) bool {
	return t != "" && len(t) <= longestText && utf8.ValidString(t) &&
		!strings.ContainsFunc(t, func(r rune) bool { return r < ' ' || r == 0x7f })
}

func (s *State) giveSite(site Site) error {
	if err := site.Validate(); err != nil {
		return &Refusal{Impossible, err.Error()}
	}
	s.Site, s.Mark = site, site.Regulator.Mark
	s.Expect = s.Site.Predict(s.air(), 0)
	s.add(found("predicted-cold", Noted).value(Pascals, s.Expect.Cold.Value).interval(s.Expect.Cold.Low, s.Expect.Cold.High))
	s.add(found("predicted-hot", Noted).value(Pascals, s.Expect.Shut.Value).interval(s.Expect.Shut.Low, s.Expect.Shut.High).
		band(site.DraftLow, site.DraftHigh))
	for _, w := range s.Site.Warnings(s.air()) {
		s.add(w)
	}
	s.onward()
	return nil
}

func (s *State) giveChecks(seen [Checks]Seen) error {
	for c, v := range seen {
		if v == Unseen || v > NotApplicable {
			return &Refusal{Incomplete, string(checks[c].code)}
		}
		if v == NotApplicable && !checks[c].optional {
			return &Refusal{Impossible, string(checks[c].code) + ": it applies everywhere"}
		}
	}
	s.Given.Checks = seen
	for c, v := range seen {
		if v == No {
			s.add(found(checks[c].code, checks[c].grade))
		}
	}
	s.onward()
	return nil
}

func (s *State) giveLimits(l LimitEntry) error {
	if !(l.FanOn >= fanLowest && l.FanOn <= fanHighest && l.FanOff >= fanLowest && l.FanOff < l.FanOn) {
		return &Refusal{Impossible, "the fan comes on between 25 and 95 °C (77 and 203 °F), and goes off below that"}
	}
	s.Given.Limits = l
	s.add(found("fan-on", Noted).value(Celsius, l.FanOn).against(usualFanOn))
	s.add(found("fan-off", Noted).value(Celsius, l.FanOff))
	if l.Untouched {
		s.add(found("high-limit-untouched", Good))
	} else {
		s.add(found("high-limit-touched", Bad))
	}
	s.onward()
	return nil
}

// fireless are the tasks that must not be done beside a fire or coals.
var fireless = []Task{ZeroDraft, BlowHose, CompareCold, WarmProbe, ReadCold, ReadFans, LightFire}

// burning are those that need one.
var burning = []Task{ReadMark, VerifyLow, VerifyHigh, ReadFree, HoldGate, ReleaseGate, OpenDoor, ShutDoor}

// ready begins a measurement, if it is safe and can be.
func (s *State) ready(e Entry) error {
	switch {
	case s.Running:
		return refuse(UnderWay)
	case slices.Contains([]Task{EnterSite, LookAround, EnterLimits, TestAlarm, Sign, Failed}, s.Task):
		return refuse(NotPossible)
	case !s.seen:
		return refuse(NoReadings)
	}
	fire := s.fire
	if s.Task == WarmProbe && s.Channel != warmedOnes[0] {
		fire = NoFire // there was none when the first probe was warmed, which is why the flue is warm now
	}
	if fire == FireUnknown && e.Looked && slices.Contains(fireless, s.Task) {
		fire = NoFire
	}
	switch {
	case slices.Contains(fireless, s.Task) && fire == Burning:
		return refuse(FireBurns)
	case slices.Contains(fireless, s.Task) && fire == FireUnknown:
		return refuse(FireNotSeen)
	case slices.Contains(burning, s.Task) && fire == FireUnknown:
		return refuse(NoFlueRead)
	case slices.Contains(burning, s.Task) && fire == NoFire:
		return refuse(NoFireYet)
	}
	if s.Task != CompareCold && s.Task != WarmProbe && !s.latest.Has(frame.Draft) {
		return refuse(NoDraftRead)
	}
	switch s.Task {
	case LightFire:
		for _, before := range []Step{ByEye, Sensors, ColdDraft} {
			if s.Results[before].Outcome == Failure {
				return refuse(PutRight)
			}
		}
		if s.latest[frame.Draft] < turned {
			return refuse(DraftTurned)
		}
		s.Moments, s.Numbers.Fire = Moments{}, nil
	case HoldGate, OpenDoor:
		switch {
		case s.latest[frame.Draft] < turned:
			return refuse(DraftTurned)
		case s.latest[frame.Flue] > hotFlue:
			return refuse(TooHot)
		}
	case ReadMark:
		if err := s.setMark(e.Mark); err != nil {
			return err
		}
	}
	channel := s.Channel
	s.Watch, s.Channel = Measuring{}, channel
	s.Running = true
	return nil
}

// setMark takes the mark that the person has set.
func (s *State) setMark(m float64) error {
	if !s.Site.Regulator.Fitted {
		return nil
	}
	if scale := s.Site.Regulator.Scale; !(m >= scale.Low && m <= scale.High) {
		return &Refusal{Impossible, "the mark is not on the regulator's scale"}
	}
	s.Mark = m
	return nil
}
