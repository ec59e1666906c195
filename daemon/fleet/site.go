package main

import (
	"context"
	"fmt"
	"log/slog"
	"sync"
	"sync/atomic"
	"time"

	dto "github.com/prometheus/client_model/go"

	"fluewright/analysis"
	"fluewright/analysis/alarm"
	"fluewright/analysis/frame"
	"fluewright/daemon/internal/history"
	"fluewright/daemon/internal/message"
	"fluewright/daemon/internal/metrics"
	"fluewright/daemon/internal/mqtt"
	"fluewright/daemon/internal/notify"
	"fluewright/daemon/internal/remotewrite"
	"fluewright/daemon/internal/status"
	"fluewright/daemon/internal/units"
	"fluewright/daemon/internal/verdict"
	"fluewright/sensors"
)

// site is a house with its monitor: the engine, the history and those who publish are those of
// the product. The history is in memory alone, as it is in the product until its file is open.
type site struct {
	name   string
	house  *house
	start  time.Time // the wall clock at the zero of the frames' clock
	period time.Duration
	faults float64 // an hour
	raised func(Raised)
	after  func(at time.Duration) // each tick; nil: nothing

	engine    *analysis.Engine
	store     *history.Store
	feed      *status.Feed
	publisher *mqtt.Publisher
	sender    *remotewrite.Sender // nil without a receiver

	at     time.Duration // of the last tick; negative before the first
	seq    uint64
	missed atomic.Uint64 // ticks for which the machine had no time
	taken  [frame.Count]time.Time
}

// Raised is an alarm that came up.
type Raised struct {
	Site       string
	Alarm      alarm.Key
	Occurrence uint32
	At         time.Time // of the frame
}

// A site's settings are those of a furnace as the demonstration's: 538 and 704 °C, and a draft
// of 10 to 15 Pa.
func settings(h *house) analysis.Settings {
	s := analysis.Settings{
		Fitted: fitted, DraftLow: 10, DraftHigh: 15, DraftAverage: 30 * time.Second, Altitude: h.region.altitude,
		Regulator: analysis.Regulator{Set: h.set},
	}
	s.Limits[frame.Flue], s.Limits[frame.Chamber] = 538, 704
	return s
}

func newSite(name, boot string, h *house, start time.Time, o *Options) (*site, error) {
	s := &site{
		name: name, house: h, start: start, period: o.Period, faults: o.Faults, raised: o.Raised, at: -o.Period,
		feed: status.NewFeed(),
	}
	var err error
	if s.engine, err = analysis.New(settings(h)); err != nil {
		return nil, fmt.Errorf("set up analysis: %w", err)
	}
	// Nobody runs it, so that it opens no file and keeps the last six hours in memory.
	s.store = history.New(history.Options{Identity: boot, Period: max(o.Period, time.Second), Units: units.SI, Log: o.Log})
	view := verdict.Site{Fitted: fitted, Render: func(a alarm.Status, st *status.Status) (string, string) {
		return message.Alarm(a, st.Assessment.Account(a.Key), st.WallOf, units.SI)
	}}
	s.publisher, err = mqtt.New(mqtt.Options{
		Site: name, Broker: o.Broker, CAFile: o.CAFile, CertFile: of(o.CertFile, name), KeyFile: of(o.KeyFile, name),
		User: o.User, Password: o.Password,
		Software: version, BootID: boot, Started: time.Now(), Verdict: view, Units: units.SI,
		Command: func(string, bool, []byte) {}, Past: s.store, Metered: o.Metered, Log: o.Log,
	})
	if err != nil {
		return nil, fmt.Errorf("set up mqtt: %w", err)
	}
	if o.Write != "" {
		if err := s.writeTo(o); err != nil {
			return nil, err
		}
	}
	return s, nil
}

// writeTo sends remote write: what a product of the same set-up shows to a scrape.
func (s *site) writeTo(o *Options) error {
	commands := map[string]uint64{}
	for _, r := range []string{"done", "failed", "refused", "malformed", "oversized"} {
		commands[r] = 0
	}
	exposition := metrics.New(metrics.Options{
		Site: s.name, Version: version, Configuration: s.name, Feed: s.feed, Fitted: fitted, Alarms: s.engine.Alarms(),
		StaleAfter: max(5*time.Second, 3*o.Period), MQTT: s.publisher.Stats, History: s.store.Health,
		Notify:      func() notify.Stats { return notify.Stats{Attempts: map[string][notify.Refused + 1]uint64{"ntfy": {}}} },
		Heartbeat:   func() [notify.Refused + 1]uint64 { return [notify.Refused + 1]uint64{} },
		Commands:    func() map[string]uint64 { return commands },
		Loop:        func() metrics.Loop { return metrics.Loop{Missed: s.missed.Load()} },
		RemoteWrite: func() []remotewrite.Stats { return []remotewrite.Stats{s.sender.Stats()} },
	})
	var err error
	s.sender, err = remotewrite.New(remotewrite.Options{
		Name: "desk", URL: o.Write, CAFile: o.WriteCA, Interval: 10 * time.Second, Every: o.WriteEvery, BackFill: 24 * time.Hour,
		Site: s.name, Software: version, Fitted: fitted, Follow: s.store.FollowNow,
		Live:    func() ([]*dto.MetricFamily, error) { return exposition.Gather() },
		Trusted: func() bool { st := s.feed.Latest(); return st != nil && st.ClockTrusted },
		Log:     slog.New(slog.DiscardHandler),
	})
	if err != nil {
		return fmt.Errorf("set up remote write: %w", err)
	}
	return nil
}

// run publishes until ctx ends.
func (s *site) run(ctx context.Context) {
	var all sync.WaitGroup
	all.Go(func() { _ = s.publisher.Run(ctx) })
	if s.sender != nil {
		all.Go(func() { _ = s.sender.Run(ctx) })
	}
	all.Wait()
}

// tick is one frame, at a moment of the site's clock.
func (s *site) tick(at time.Duration) {
	wall := s.start.Add(at)
	s.house.pass(at-s.at, wall)
	if s.seq > 0 { // whose clock was never right says no time with its telemetry
		s.house.chance(s.faults, at-s.at, wall)
	}
	s.at = at
	f := frame.Frame{At: at}
	s.house.read(&f)
	a := s.engine.Step(f)
	st := &status.Status{
		Site: s.name, Wall: wall.Truncate(time.Millisecond), ClockTrusted: !s.house.mishaps.lost, Frame: f, Assessment: a,
	}
	// What the engine lends is its own until the next step.
	st.Assessment.Alarms = append([]alarm.Status(nil), a.Alarms...)
	st.Assessment.Accounts = append([]analysis.Account(nil), a.Accounts...)
	st.Assessment.Events = append([]analysis.Event(nil), a.Events...)
	for c, code := range a.Doubts {
		if in := &st.Frame.Inputs[c]; code != "" && in.Usable() {
			in.Quality, in.Fault = frame.Suspect, code
		}
	}
	s.seq++
	st.Seq = s.seq
	for c := range s.taken {
		if f.Inputs[c].Usable() {
			s.taken[c] = st.Wall
		}
	}
	st.Taken, st.Sensors = s.taken, s.chips(wall)
	s.feed.Publish(st)
	s.store.Offer(st)
	s.publisher.Offer(st)
	if s.sender != nil && history.AlarmChanged(st) {
		s.sender.Wake()
	}
	if s.after != nil {
		s.after(at)
	}
	if s.raised == nil {
		return
	}
	for _, e := range st.Assessment.Events {
		if e.Kind == analysis.AlarmChanged && e.Change == alarm.WasRaised {
			s.raised(Raised{s.name, e.Alarm.Key, e.Alarm.Occurrence, st.Wall})
		}
	}
}

// chips is the health of the sensors, of the kinds that the bench has.
func (s *site) chips(wall time.Time) []status.Sensor {
	of := func(name, chip, bus string, address uint16, channels ...frame.Channel) status.Sensor {
		c := status.Sensor{Name: name, Chip: chip, Bus: bus, Address: address, Channels: channels, Up: true, LastGood: wall, Samples: s.seq}
		if s.house.mishaps.broken == channels[0] {
			c.Up, c.LastGood, c.Fault = false, s.taken[channels[0]], &sensors.Fault{Code: sensors.OpenCircuit}
		}
		return c
	}
	all := []status.Sensor{
		of("flue", "max31856", "/dev/spidev0.0", 0, frame.Flue), of("chamber", "max31856", "/dev/spidev0.1", 0, frame.Chamber),
		of("plenum", "max31856", "/dev/spidev1.0", 0, frame.Plenum),
		of("draft", "sdp810-125pa", "/dev/i2c-1", 0x25, frame.Draft), of("ambient", "bme280", "/dev/i2c-1", 0x76, frame.Ambient, frame.Room),
	}
	return all
}
