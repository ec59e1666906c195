package sites

import (
	"cmp"
	"slices"
	"time"

	"fluewright/daemon/internal/verdict"
)

// What payloads call things.
const (
	online, offline, lost         = "online", "offline", "lost"
	raised, acknowledged, shelved = "raised", "acknowledged", "shelved"
	high                          = "high"
	saysWell, saysAlarm           = "well", "alarm"
	saysBlind, saysChecking       = "blind", "checking"
)

// judge makes of what is kept of a site how it stands at now.
func (k *kept) judge(name string, now time.Time) Site {
	s := Site{
		Name: name, Availability: k.available.State, Software: k.available.Software, Since: k.available.Since, Heard: k.heard,
		Phase: k.state.Phase, Headline: k.state.Verdict.Headline, Action: k.state.Verdict.Action, Alarms: []Alarm{},
	}
	if k.stated {
		s.LastWord, s.ClockTrusted = k.state.Time, &k.state.ClockTrusted
	}
	s.Alarms = append(s.Alarms, k.standing()...)
	for i := range s.Alarms {
		s.Alarms[i].Doubtful = s.Alarms[i].Doubtful || s.Availability != online
	}
	s.Level, s.How = k.level(&s, now)
	return s
}

// level goes from what is worst to what is well: each earlier sentence keeps a later one from
// being said.
func (k *kept) level(s *Site, now time.Time) (Level, string) {
	hazard := slices.ContainsFunc(s.Alarms, func(a Alarm) bool { return a.Priority == high && a.State != shelved })
	age, known := k.age(now)
	gone := ""
	switch {
	case s.Availability == lost, s.Availability == offline:
		gone = s.Availability
	case known && age > silence:
		gone = "silent for " + verdict.Ago(age)
	}
	switch {
	case hazard && gone != "":
		return Hazard, "alarm, now " + gone
	case hazard:
		return Hazard, "alarm"
	case gone != "":
		return Gone, gone
	case s.Availability != online, !k.stated, k.state.Boot != k.available.Boot, k.broken:
		return Unclear, "unclear"
	case len(s.Alarms) > 0, k.state.Verdict.Level == saysAlarm:
		return Alarmed, "alarm"
	case k.state.Verdict.Level == saysBlind:
		return Blind, "blind"
	case k.state.Verdict.Level == saysChecking:
		return Checking, "checking"
	case k.state.Verdict.Level != saysWell:
		return Unclear, "unclear"
	case !known:
		return Old, "no alarm, when is not known"
	case age > fresh:
		return Old, "no alarm " + verdict.Ago(age) + " ago"
	}
	return Well, "no alarm"
}

// age is how old the last word is, as far as the clocks tell.
func (k *kept) age(now time.Time) (age time.Duration, known bool) {
	if k.heard {
		return 0, true
	}
	age = now.Sub(k.state.Time)
	return age, k.stated && k.state.ClockTrusted && age >= -ahead
}

// standing joins what each alarm's own topic says with what the state says of it. The newer
// counts, where they are of one run; of different ones both do: a monitor that has begun anew and
// has not judged an alarm yet does not take back what the run before has told.
func (k *kept) standing() (all []Alarm) {
	for key, c := range k.alarms {
		of := k.inState(key)
		a := Alarm{
			Alarm: key.alarm, Channel: key.channel, Priority: c.Priority, State: c.State, Acknowledged: c.Acknowledged || c.State == acknowledged,
			Since: c.Since, Message: c.Message, Doubtful: c.Blind || c.Boot != k.state.Boot,
		}
		if of != nil && c.Boot == k.state.Boot && k.state.At > c.At {
			a.State, a.Priority, a.Since, a.Doubtful = of.State, of.Priority, of.Since, of.Blind
		}
		if stands(a.State) {
			all = append(all, a)
		}
	}
	for _, of := range k.state.Alarms {
		if _, told := k.alarms[alarmKey{of.Alarm, of.Channel}]; !told && stands(of.State) {
			all = append(all, Alarm{
				Alarm: of.Alarm, Channel: of.Channel, Priority: of.Priority, State: of.State, Acknowledged: of.State == acknowledged,
				Since: of.Since, Doubtful: of.Blind,
			})
		}
	}
	slices.SortFunc(all, func(a, b Alarm) int {
		return cmp.Or(
			cmp.Compare(weight(b.Priority), weight(a.Priority)), a.Since.Compare(b.Since),
			cmp.Compare(a.Alarm, b.Alarm), cmp.Compare(a.Channel, b.Channel),
		)
	})
	return all
}

func (k *kept) inState(key alarmKey) *stateAlarm {
	i := slices.IndexFunc(k.state.Alarms, func(a stateAlarm) bool { return a.Alarm == key.alarm && a.Channel == key.channel })
	if i < 0 {
		return nil
	}
	return &k.state.Alarms[i]
}

// stands reports whether a state is one to tell: a shelved alarm is put aside and not over.
func stands(state string) bool { return state == raised || state == acknowledged || state == shelved }
