package app

import (
	"testing"
	"time"

	"fluewright/analysis"
	"fluewright/analysis/alarm"
	"fluewright/analysis/frame"
	"fluewright/daemon/internal/history"
	"fluewright/daemon/internal/message"
	"fluewright/daemon/internal/mqtt"
	"fluewright/daemon/internal/notify"
	"fluewright/daemon/internal/units"
)

// duty is a watchman with what it looks at, at a tick a second.
type duty struct {
	watchman
	health  history.Health
	stats   mqtt.Stats
	people  notify.Stats
	unsaved bool
	flows   bool // the broker takes messages
	wall    time.Time
	trusted bool
	at      time.Duration
	said    string
}

func newDuty() *duty {
	d := &duty{flows: true, trusted: true, wall: time.Date(2026, 1, 17, 20, 0, 0, 0, time.UTC)}
	d.health.State = history.Fine
	d.watchman = watchman{
		history: func() history.Health { return d.health }, delivery: func() mqtt.Stats { return d.stats },
		forgets: func() bool { return d.unsaved }, ownClock: true,
	}
	d.watchman.people = func() notify.Stats { return d.people }
	d.stats.Pending = 3
	d.run(time.Second)
	return d
}

func (d *duty) run(lasts time.Duration) {
	for range int(lasts / time.Second) {
		if d.flows {
			d.stats.Published++
		}
		d.said = d.step(d.at, d.wall.Add(d.at), d.trusted)
		d.at += time.Second
	}
}

func TestTheWatchman(t *testing.T) {
	tests := map[string]struct {
		do   func(*duty)
		says string
	}{
		"all is well":   {func(d *duty) { d.run(48 * time.Hour) }, ""},
		"just begun":    {func(d *duty) { d.health.State = history.Opening }, ""},
		"people":        {func(d *duty) { d.people.Trouble = []string{"phone"} }, message.NotificationDown},
		"people again":  {func(d *duty) { d.people.Trouble = []string{"phone"}; d.run(time.Hour); d.people.Trouble = nil }, ""},
		"full":          {func(d *duty) { d.health.State = history.Full }, message.HistoryFull},
		"read-only":     {func(d *duty) { d.health.State = history.ReadOnly }, message.HistoryReadOnly},
		"errors":        {func(d *duty) { d.health.State = history.Failing }, message.HistoryFailing},
		"damaged":       {func(d *duty) { d.health.State = history.Damaged }, message.HistoryDamaged},
		"newer":         {func(d *duty) { d.health.State = history.Newer }, message.HistoryNewer},
		"uncalibrated":  {func(d *duty) { d.uncalibrated = true }, message.CalibrationUnread},
		"refused":       {func(d *duty) { d.refused = true }, message.StateNewer},
		"slow":          {func(d *duty) { d.health.State = history.Slow }, message.HistorySlow},
		"slow at times": {func(d *duty) { d.late.Store(true); d.run(5 * time.Minute) }, message.HistorySlow},
		"slow once":     {func(d *duty) { d.late.Store(true); d.run(11 * time.Minute) }, ""},
		"no history":    {func(d *duty) { d.history = nil }, ""},
		"unsaved":       {func(d *duty) { d.unsaved = true }, message.AlarmsUnsaved},

		"the broker is away for a while": {func(d *duty) { d.flows = false; d.run(29 * time.Minute) }, ""},
		"the broker is away":             {func(d *duty) { d.flows = false; d.run(30 * time.Minute) }, message.DeliveryDown},
		"the broker is back": {func(d *duty) {
			d.flows = false
			d.run(time.Hour)
			d.flows = true
		}, ""},
		"nothing to send": {func(d *duty) { d.flows, d.stats.Pending = false, 0; d.run(3 * time.Hour) }, ""},
		"messages are lost": {func(d *duty) {
			d.stats.Dropped = 7
			d.run(9 * time.Minute)
		}, message.DeliveryLosing},
		"messages were lost": {func(d *duty) {
			d.stats.Dropped = 7
			d.run(11 * time.Minute)
		}, ""},
		"nobody is told, and that goes before the history": {func(d *duty) {
			d.health.State, d.flows = history.Full, false
			d.run(time.Hour)
		}, message.DeliveryDown},

		"nobody hears, for a moment": {func(d *duty) { d.stats.Unheard = true; d.run(5*time.Minute - time.Second) }, ""},
		"nobody hears":               {func(d *duty) { d.stats.Unheard = true; d.run(5 * time.Minute) }, message.DeliveryUnheard},
		"nobody hears, and no card":  {func(d *duty) { d.stats.Unheard, d.health.State = true, history.Full; d.run(time.Hour) }, message.DeliveryUnheard},
		"heard again":                {func(d *duty) { d.stats.Unheard = true; d.run(time.Hour); d.stats.Unheard = false }, ""},

		"never set":                     {func(d *duty) { d.trusted = false; d.run(24 * time.Hour) }, message.ClockUnset},
		"not set yet":                   {func(d *duty) { d.trusted = false; d.run(23 * time.Hour) }, ""},
		"set at last":                   {func(d *duty) { d.trusted = false; d.run(30 * time.Hour); d.trusted = true }, ""},
		"set by hand, again":            {func(d *duty) { d.jump(2) }, ""},
		"jumps":                         {func(d *duty) { d.jump(3) }, message.ClockJumping},
		"jumped":                        {func(d *duty) { d.jump(3); d.run(time.Hour) }, ""},
		"a bench's clock":               {func(d *duty) { d.ownClock, d.trusted = false, false; d.jump(3); d.run(30 * time.Hour) }, ""},
		"the certificate holds":         {func(d *duty) { d.ends(8 * 24 * time.Hour) }, ""},
		"the certificate ends soon":     {func(d *duty) { d.ends(7 * 24 * time.Hour) }, message.CertificateEnding},
		"the certificate has ended":     {func(d *duty) { d.ends(0) }, message.CertificateEnded},
		"it is renewed":                 {func(d *duty) { d.ends(0); d.run(time.Hour); d.ends(700 * 24 * time.Hour) }, ""},
		"no clock for the certificate":  {func(d *duty) { d.ends(0); d.trusted = false }, ""},
		"a full history is more urgent": {func(d *duty) { d.ends(0); d.health.State = history.Full }, message.HistoryFull},
		"set for the first time": {func(d *duty) {
			d.trusted = false
			d.jump(2)
			d.trusted = true
			d.jump(1)
		}, ""},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			d := newDuty()
			tt.do(d)
			d.run(time.Second)
			if d.said != tt.says {
				t.Errorf("says %q, want %q", d.said, tt.says)
			}
		})
	}
}

// ends gives the monitor a certificate that ends in a while.
func (d *duty) ends(in time.Duration) { d.stats.CertificateEnds = d.wall.Add(d.at + in) }

// jump steps the clock, a minute apart.
func (d *duty) jump(times int) {
	for range times {
		d.wall = d.wall.Add(-10 * time.Second)
		d.run(time.Minute)
	}
}

// Whatever the watchman says has words.
func TestEveryImpairmentHasWords(t *testing.T) {
	for _, code := range []string{
		message.HistorySlow, message.HistoryFull, message.HistoryReadOnly, message.HistoryFailing, message.HistoryDamaged, message.HistoryLost,
		message.AlarmsUnsaved, message.StateNewer, message.HistoryNewer, message.CalibrationUnread, message.DeliveryDown, message.DeliveryLosing, message.NotificationDown, message.ClockJumping, message.ClockUnset,
	} {
		a := alarm.Status{Key: alarm.Key{Name: alarm.MonitorImpaired, Channel: frame.Count}, State: alarm.Raised, Fault: code}
		bare := a
		bare.Fault = "none"
		says, advise := message.Alarm(a, analysis.Account{}, time.Now().Add, units.SI)
		_, plain := message.Alarm(bare, analysis.Account{}, time.Now().Add, units.SI)
		if says == "the monitor does not work as it should: "+code || advise == plain {
			t.Errorf("%s: %q, %q", code, says, advise)
		}
	}
}
