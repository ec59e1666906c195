package app

import (
	"fmt"
	"strings"
	"time"

	"fluewright/analysis"
	"fluewright/analysis/alarm"
	"fluewright/analysis/frame"
	"fluewright/daemon/internal/health"
	"fluewright/daemon/internal/history"
	"fluewright/daemon/internal/message"
	"fluewright/daemon/internal/status"
	"fluewright/daemon/internal/verdict"
)

// checkup says how the monitor does its own work.
type checkup struct {
	feed       *status.Feed
	site       verdict.Site
	staleAfter time.Duration
	units      message.Units
	watch      *watchman
}

// checks lists the parts. Each is right only by what is known now.
func (c *checkup) checks() []health.Check {
	s := c.feed.Latest()
	silence, _ := c.feed.Age()
	if silence <= c.staleAfter {
		silence = 0
	}
	short := c.watch.found.Load()
	if short == nil {
		short = &shortfalls{}
	}
	all := []health.Check{c.sampling(s, silence, short), c.alarms(s, silence), c.storage(short), c.clock(s, short), c.delivery(short)}
	if ends := c.watch.delivery().CertificateEnds; !ends.IsZero() {
		all = append(all, c.certificate(s, short, ends))
	}
	if c.watch.people != nil {
		all = append(all, c.notification(short))
	}
	return all
}

func check(name string, state health.State, format string, args ...any) health.Check {
	return health.Check{Name: name, State: state, Message: fmt.Sprintf(format, args...)}
}

// impaired is what the monitor's own alarm says of a code.
func (c *checkup) impaired(name, code string) health.Check {
	a := alarm.Status{
		Key: alarm.Key{Name: alarm.MonitorImpaired, Channel: frame.Count}, State: alarm.Raised, Condition: alarm.Holds, Fault: code,
	}
	text, _ := message.Alarm(a, analysis.Account{}, time.Time{}.Add, c.units)
	return health.Check{Name: name, State: health.Wrong, Code: code, Message: text}
}

func (c *checkup) sampling(s *status.Status, silence time.Duration, short *shortfalls) health.Check {
	const name = "sampling"
	switch v := c.site.Judge(s, 0); {
	case s == nil:
		return check(name, health.Early, "nothing has been read yet")
	case silence > 0:
		return check(name, health.Wrong, "nothing has been read for %s", verdict.Ago(silence))
	case short.readings != "":
		return c.impaired(name, short.readings)
	case len(v.Missing) > 0 && v.Level == verdict.Checking:
		return check(name, health.Early, "waiting for the first reading of %s", names(v.Missing))
	case len(v.Missing) > 0:
		return check(name, health.Wrong, "no reading of %s", names(v.Missing))
	}
	return check(name, health.OK, "every sensor is read")
}

func names(channels []frame.Channel) string {
	var all []string
	for _, c := range channels {
		all = append(all, c.String())
	}
	return strings.Join(all, ", ")
}

// alarms says whether each alarm would be raised now. That may be so before it can be told
// that its condition is gone.
func (c *checkup) alarms(s *status.Status, silence time.Duration) health.Check {
	const name = "alarms"
	switch {
	case s == nil:
		return check(name, health.Early, "nothing has been judged yet")
	case silence > 0:
		return check(name, health.Wrong, "nothing has been judged for %s", verdict.Ago(silence))
	}
	var blind, early, put []string
	all := make([]health.Arming, 0, len(s.Assessment.Alarms))
	for _, a := range s.Assessment.Alarms {
		one := arming(s, a)
		all = append(all, one)
		switch {
		case a.State == alarm.Shelved:
			put = append(put, verdict.Name(a.Key))
		case one.State == health.Early:
			early = append(early, verdict.Name(a.Key))
		case one.State == health.Wrong:
			blind = append(blind, verdict.Name(a.Key))
		}
	}
	result := check(name, health.OK, "armed, all %d", len(s.Assessment.Alarms))
	switch {
	case len(blind) > 0:
		result = check(name, health.Wrong, "cannot judge %s", strings.Join(blind, ", "))
	case len(early) > 0 || len(s.Assessment.Alarms) == 0:
		result = check(name, health.Early, "cannot judge yet: %s", strings.Join(early, ", "))
	case len(put) > 0:
		result = check(name, health.Note, "shelved by a person: %s", strings.Join(put, ", "))
	}
	result.Alarms = all
	return result
}

// arming says whether one alarm would be raised.
func arming(s *status.Status, a alarm.Status) health.Arming {
	one := health.Arming{Alarm: string(a.Key.Name), State: health.OK}
	if a.Key.Channel < frame.Count {
		one.Channel = a.Key.Channel.String()
	}
	declared, _ := alarm.Declared(a.Key.Name)
	var missing []frame.Channel
	for _, c := range declared.Channels(a.Key.Channel) {
		if !s.Frame.Inputs[c].Usable() {
			missing = append(missing, c)
		}
	}
	switch {
	case a.State == alarm.Shelved:
		one.State, one.Why = health.Note, "shelved by a person"
	case a.State == alarm.Unjudged && declared.Patient:
		one.State, one.Why = health.Note, "judged by whole burns, and none was seen yet"
	case a.Blind && a.State == alarm.Unjudged:
		one.State, one.Why = health.Early, "its judge has not seen enough yet"
	case a.Blind:
		one.State, one.Why = health.Wrong, "its judge cannot tell"
	}
	if a.Blind && len(missing) > 0 {
		one.Why = "no reading of " + names(missing)
	}
	return one
}

func (c *checkup) storage(short *shortfalls) health.Check {
	const name = "storage"
	switch {
	case short.history != "":
		return c.impaired(name, short.history)
	case short.memory != "":
		return c.impaired(name, short.memory)
	case c.watch.history == nil:
		return check(name, health.Note, "no history is kept")
	case c.watch.history().State == history.Opening:
		return check(name, health.Early, "the history is not open yet")
	}
	return check(name, health.OK, "the history is written")
}

func (c *checkup) clock(s *status.Status, short *shortfalls) health.Check {
	const name = "clock"
	switch {
	case short.clock != "":
		return c.impaired(name, short.clock)
	case s == nil || !s.ClockTrusted:
		return check(name, health.Note, "not known to be synchronised; alarms do not depend on it")
	}
	return check(name, health.OK, "synchronised")
}

func (c *checkup) delivery(short *shortfalls) health.Check {
	const name = "delivery"
	switch s := c.watch.delivery(); {
	case short.delivery != "":
		return c.impaired(name, short.delivery)
	case s.Connected:
		return check(name, health.OK, "the MQTT broker is connected, %d messages wait", s.Pending)
	case s.Connects == 0:
		return check(name, health.Early, "the MQTT broker was not reached yet, %d messages wait", s.Pending)
	default:
		return check(name, health.Note, "the MQTT broker is away, %d messages wait", s.Pending)
	}
}

func (c *checkup) notification(short *shortfalls) health.Check {
	const name = "notification"
	if short.people != "" {
		return c.impaired(name, short.people)
	}
	return check(name, health.OK, "no message to people is overdue, %d wait", c.watch.people().Pending)
}
