// Package app wires the rooms together and runs them: a reading loop for each bus, the
// one loop that owns time and judges, and those who publish. Everything that runs is a
// task of one group; a sensor, a broker or a reader that fails ends none of them.
package app

import (
	"cmp"
	"context"
	"crypto/rand"
	"encoding/hex"
	"errors"
	"fmt"
	"log/slog"
	"net/http"
	"os"
	"strings"
	"time"

	"golang.org/x/sync/errgroup"

	"fluewright/analysis"
	"fluewright/analysis/alarm"
	"fluewright/analysis/frame"
	"fluewright/analysis/gas"
	"fluewright/daemon/internal/access"
	"fluewright/daemon/internal/commission"
	"fluewright/daemon/internal/config"
	"fluewright/daemon/internal/handout"
	"fluewright/daemon/internal/health"
	"fluewright/daemon/internal/history"
	"fluewright/daemon/internal/message"
	"fluewright/daemon/internal/metrics"
	"fluewright/daemon/internal/mqtt"
	"fluewright/daemon/internal/mqtt/broker"
	"fluewright/daemon/internal/mqtt/homie"
	"fluewright/daemon/internal/status"
	"fluewright/daemon/internal/trend"
	"fluewright/daemon/internal/verdict"
	"fluewright/daemon/internal/web"
	"fluewright/daemon/internal/web/commissionpage"
	"fluewright/daemon/internal/web/equipment"
	"fluewright/daemon/internal/web/records"
	"fluewright/sensors"
	"fluewright/sensors/bus"
	"fluewright/sensors/scan"
)

// shutdownGrace is how long tasks may take to end. One that hangs in the kernel, on a
// bus that does not answer, is left behind: the process ends all the same.
const shutdownGrace = 600 * time.Millisecond

// Options is what a run needs beside its configuration.
type Options struct {
	Version string
	Clock   sensors.Clock // nil: the computer's
	// Record is a file for the burn log of this run; empty: none.
	Record string
	// State is the directory that holds what must outlive a restart; empty: nothing does.
	State string
	// History is the directory that holds the history where the configuration names none;
	// empty: State.
	History string
	// Configuration is the text that the configuration was read from, for the history.
	Configuration string
	// Root is where the board's /sys is found; empty: "/".
	Root string
	Log  *slog.Logger
	// Notice stands at the top of the page: that nothing is measured, in a demonstration.
	Notice string
	// Ready is called once, when page and broker can be reached.
	Ready func(Addresses)
	// Commission talks with a person about the site's commissioning while the furnace is
	// watched. Whoever talks ends the run's context when it is over. nil: nobody is there.
	Commission func(context.Context, *commission.Desk) error
	// Tick is called with each tick's status, from the loop: it must be quick.
	Tick func(*status.Status)

	world *world // nil: the computer
}

// Addresses is where the program can be reached.
type Addresses struct {
	Web  string // the page's URL, with a slash at its end
	MQTT string // the broker's URL
	// SetUp is where the first owner is made, with the code behind a '#'; empty where there
	// are accounts already. Outside says that a telephone can reach it.
	SetUp   string
	Outside bool
}

// Run watches the furnace until ctx ends.
func Run(ctx context.Context, cfg *config.Config, o Options) (err error) {
	if o.Clock == nil {
		o.Clock = sensors.SystemClock{}
	}
	h := &house{cfg: cfg, options: o, log: o.Log, feed: status.NewFeed(), board: scan.NewBoard(), boot: bootID()}
	defer func() { err = errors.Join(err, h.close()) }()
	if o.State != "" {
		release, err := lockState(o.State)
		if err != nil {
			return err
		}
		h.ends = append(h.ends, release)
		h.takeState()
	}
	if err := h.build(); err != nil {
		return err
	}
	return h.run(ctx)
}

// house is everything that one run consists of.
type house struct {
	cfg     *config.Config
	options Options
	log     *slog.Logger
	feed    *status.Feed
	board   *scan.Board
	boot    string // tells the runs of the program apart
	refused bool   // the state directory is of a newer program
	// uncalibrated says that there are calibrations and they cannot be read.
	uncalibrated bool
	bundles      *handout.Desk       // nil where no history is kept
	past         trend.History       // likewise
	broker       func() broker.Stats // nil where the broker is elsewhere
	// commission is the site's commissioning, for those who show it.
	commission *commission.Desk

	// What the pages show of records and equipment.
	records   records.Options
	equipment equipment.Options

	tasks []task
	addrs Addresses
	ends  []func() error // in reverse order
}

// task is something that runs until its context ends.
type task struct {
	name string
	run  func(context.Context) error
}

func (h *house) build() error {
	settings := h.cfg.Analysis
	settings.Monitored = true
	for c, source := range sources(h.cfg) {
		settings.Lags[c] = source.lag.Seconds() / lagGain // what is left of it
	}
	engine, err := analysis.New(settings)
	if err != nil {
		return fmt.Errorf("set up analysis: %w", err)
	}
	scans, err := buses(h.cfg, h.board, h.options.Clock, chip.way)
	if err != nil {
		return err
	}
	for _, w := range stretchWarnings(h.cfg, bus.Adapters()) {
		h.log.Warn(w)
	}
	for _, s := range scans {
		h.tasks = append(h.tasks, task{s.String(), s.Run})
	}
	l, err := h.loop(engine)
	if err != nil {
		return err
	}
	alarms := h.keepAlarms(l)
	if err := h.buildRecorder(l); err != nil {
		return err
	}
	site := verdict.Site{
		Fitted: h.cfg.Analysis.Fitted,
		Render: func(a alarm.Status, s *status.Status) (string, string) {
			return message.Alarm(a, s.Assessment.Account(a.Key), s.WallOf, h.cfg.Site.Units)
		},
	}
	// The history before those who announce: they wait for what it was offered.
	store := h.keepHistory(l)
	h.commission = h.commissionDesk(l, store)
	_, own := h.options.Clock.(sensors.SystemClock)
	watch := &watchman{ownClock: own, refused: h.refused, uncalibrated: h.uncalibrated}
	kept := durable(store, alarms, watch)
	asked := newCommands(h.log)
	publisher, err := h.buildMQTT(site, engine.Alarms(), store, kept, asked)
	if err != nil {
		return err
	}
	taken := &takers{store: store, wall: h.wall, restored: engine.Alarms(), log: h.log}
	h.tasks = append(h.tasks, task{"takers", taken.run})
	acts := &actions{order: l.order, store: store, taken: taken, log: h.log}
	asked.line, asked.actions, asked.bundles = publisher, acts, h.bundles
	asked.test = tester(h.cfg)
	asked.trusted = func() bool { s := h.feed.Latest(); return s != nil && s.ClockTrusted }
	h.tasks = append(h.tasks, task{"commands", asked.run})
	l.after = append(l.after, publisher.Offer)
	watch.delivery = publisher.Stats
	courier, beat, err := h.buildNotify(l, taken, kept)
	if err != nil {
		return err
	}
	if courier != nil {
		watch.people = courier.Stats
	}
	if store != nil {
		watch.history = store.Health
	}
	if alarms != nil {
		watch.forgets = alarms.forgets
	}
	l.impaired = watch.step
	h.proveState(watch)
	receivers := &receivers{}
	totals := &metrics.Totals{}
	l.after = append(l.after, totals.Take)
	exposition := metrics.New(metrics.Options{
		Notify:     watch.people,
		Heartbeat:  beats(beat),
		Site:       h.cfg.Site.Name,
		Version:    h.options.Version,
		Feed:       h.feed,
		Fitted:     h.cfg.Analysis.Fitted,
		Alarms:     engine.Alarms(),
		StaleAfter: h.cfg.Sampling.StaleAfter,
		MQTT:       publisher.Stats,
		Broker:     h.broker,
		Commands:   asked.gate.Counts,
		History:    watch.history,
		Loop:       l.punctuality,

		Region:        h.cfg.Site.Region,
		Commissioning: h.commission.Reference,
		Pressure:      gas.StandardAtmosphere(h.cfg.Site.Altitude).Pressure,
		Totals:        totals,
		Configuration: h.options.Configuration,
		RemoteWrite:   receivers.stats,
	})
	if err := receivers.build(h, l, store, exposition.Gather); err != nil {
		return err
	}
	h.recorded(l, store, acts)
	doing := &checkup{h.feed, site, h.cfg.Sampling.StaleAfter, h.cfg.Site.Units, watch}
	if err := h.buildWeb(site, exposition.Handler(), acts, doing.checks); err != nil {
		return err
	}
	h.supervise(l, site, watch.history)
	h.tasks = append(h.tasks, task{"footprint", footprint(h.log)})
	// Last, so that the first tick finds everybody listening.
	h.tasks = append(h.tasks, task{"loop", l.run})
	return nil
}

func (h *house) loop(engine *analysis.Engine) (*loop, error) {
	trust := h.world().trusted()
	if _, own := h.options.Clock.(sensors.SystemClock); !own {
		trust = func(time.Time) bool { return false } // a bench's time is nobody's wall clock
	}
	known, err := newCalibrations(h.options.State, h.cfg, h.board.Serial)
	if err != nil {
		// Readings that are off by what the chip is off by are better than none.
		h.log.Error("no calibration is applied", "error", err)
		h.uncalibrated = true
	}
	frames := &assembler{
		sources:          sources(h.cfg),
		board:            h.board,
		altitudePressure: gas.StandardAtmosphere(h.cfg.Site.Altitude).Pressure,
		corrections:      known.correction,
	}
	for c, s := range frames.sources {
		if frames.sheaths[c], err = newSheath(s.lag); err != nil {
			return nil, fmt.Errorf("undo the lag of %v: %w", frame.Channel(c), err)
		}
	}
	watch := newSupplyWatch(cmp.Or(h.options.Root, "/"), h.options.Clock, h.log)
	h.tasks = append(h.tasks, task{"supply", watch.run})
	chipHealth := &sensorHealth{h.cfg, h.board, known, &frames.sheaths, watch}
	l := &loop{
		zone:    h.cfg.Site.Zone(),
		site:    h.cfg.Site.Name,
		period:  h.cfg.Sampling.Period,
		behind:  behindLooks(h.cfg.Sampling.Period / time.Duration(max(h.cfg.Sampling.Burst, 1))),
		clock:   h.options.Clock,
		frames:  frames,
		engine:  engine,
		sensors: chipHealth.sensors,
		supply:  watch.status,
		trusted: trust,
		feed:    h.feed,
		orders:  make(chan order, mostOrders),
	}
	if h.options.Tick != nil {
		l.after = append(l.after, h.options.Tick)
	}
	l.after = append(l.after, newJournal(h.log, h.cfg.Site.Units).tick)
	return l, nil
}

func (h *house) buildRecorder(l *loop) error {
	if h.options.Record == "" {
		return nil
	}
	r, err := newRecorder(h.options.Record, h.cfg.Analysis.Fitted)
	if err != nil {
		return err
	}
	h.ends = append(h.ends, r.Close)
	l.after = append(l.after, func(s *status.Status) {
		if err := r.record(s); err != nil {
			h.log.Error("recording has stopped", "error", err)
		}
	})
	return nil
}

func (h *house) buildMQTT(site verdict.Site, alarms []alarm.Status, store *history.Store, durable func(context.Context) error, asked *commands) (*mqtt.Publisher, error) {
	c := h.cfg.MQTT
	o := mqtt.Options{
		Site:     h.cfg.Site.Name,
		Broker:   c.Broker,
		ClientID: c.ClientID,
		User:     c.User,
		CAFile:   c.CAFile,
		CertFile: c.CertificateFile, KeyFile: c.KeyFile,
		Root: c.Root, Metered: c.Metered, BackFill: c.BackFill,
		Software: h.options.Version,
		BootID:   h.boot,
		Started:  time.Now(),
		Verdict:  site,
		Units:    h.cfg.Site.Units,
		Durable:  durable,
		Command:  asked.take, Oversized: asked.oversized,
		Dir:  h.options.State,
		Dial: h.world().dial,
		Log:  h.log,
	}
	if store != nil {
		o.Past = store
	}
	switch {
	case c.Broker == "":
		retained := mqtt.RetainedTopics(h.cfg.Site.Name, alarms)
		if c.Homie {
			retained = append(retained, homie.Topics(h.cfg.Site.Name, site.Fitted, alarms)...)
		}
		b, err := h.startBroker(retained)
		if err != nil {
			return nil, err
		}
		h.addrs.MQTT = b.URL()
		o.Broker = b.Own()
		o.User, o.Password = b.Credentials()
	case c.PasswordFile != "":
		secret, err := os.ReadFile(c.PasswordFile)
		if err != nil {
			return nil, fmt.Errorf("read broker password: %w", err)
		}
		o.Password = strings.TrimRight(string(secret), "\r\n")
	}
	h.addrs.MQTT = cmp.Or(h.addrs.MQTT, o.Broker)
	p, err := mqtt.New(o)
	if err != nil {
		return nil, fmt.Errorf("set up mqtt: %w", err)
	}
	h.tasks = append(h.tasks, task{"mqtt", p.Run})
	if c.Homie {
		if err := h.buildHomie(&o, alarms); err != nil {
			return nil, err
		}
	}
	return p, nil
}

func (h *house) buildWeb(site verdict.Site, exposition http.Handler, acts *actions, checks func() []health.Check) error {
	names := h.cfg.Web.Names
	if name, err := os.Hostname(); err == nil {
		names = append(names[:len(names):len(names)], name)
	}
	accounts := access.Load(h.options.State)
	if err := accounts.Err(); err != nil {
		h.log.Error("nobody can sign in", "error", err)
	}
	s, err := web.Listen(h.cfg.Web.Listen, web.Options{
		Site:          h.cfg.Site.Name,
		Version:       h.options.Version,
		Notice:        h.options.Notice,
		Feed:          h.feed,
		Verdict:       site,
		Units:         h.cfg.Site.Units,
		Limits:        h.cfg.Analysis.Limits,
		DraftLow:      h.cfg.Analysis.DraftLow,
		DraftHigh:     h.cfg.Analysis.DraftHigh,
		StaleAfter:    h.cfg.Sampling.StaleAfter,
		Metrics:       exposition,
		Checks:        checks,
		Bundles:       h.bundles,
		Actions:       acts,
		History:       h.past,
		Config:        h.cfg,
		Commission:    h.commission,
		Records:       h.records,
		Equipment:     h.equipment,
		Commissioning: commissionpage.Options{Desk: h.commission, Log: h.records.Log, Test: tester(h.cfg)},
		Names:         names,
		Handed:        handed(h.log),
		Log:           h.log,

		Gate:            &access.Gate{Accounts: accounts, Reading: readings[h.cfg.Web.ReadWithoutSignIn]},
		Open:            h.world().listen,
		CertificateFile: h.cfg.Web.CertificateFile,
		KeyFile:         h.cfg.Web.KeyFile,
	})
	if err != nil {
		return err
	}
	h.addrs.Web = s.URL()
	if code := accounts.OfferSetup(); code != "" {
		h.addrs.SetUp, h.addrs.Outside = setUpAddress(s.URL(), s.Addr(), localAddresses(), code)
	}
	h.tasks = append(h.tasks, task{"web", s.Run}, task{"access", accounts.Run})
	return nil
}

// wall is the time of the newest tick, in the site's zone.
func (h *house) wall() time.Time {
	if s := h.feed.Latest(); s != nil {
		return s.Wall
	}
	return time.Now().In(h.cfg.Site.Zone())
}

// bootID tells the runs of the program apart.
func bootID() string {
	var b [8]byte
	_, _ = rand.Read(b[:]) // never fails
	return hex.EncodeToString(b[:])
}

// run runs the tasks until ctx ends or one of them fails.
func (h *house) run(ctx context.Context) error {
	group, running := errgroup.WithContext(ctx)
	for _, t := range h.tasks {
		group.Go(func() error {
			if err := t.run(running); err != nil {
				return fmt.Errorf("%s: %w", t.name, err)
			}
			return nil
		})
	}
	if h.options.Ready != nil {
		h.options.Ready(h.addrs)
	}
	ended := make(chan error, 1)
	go func() { ended <- group.Wait() }()
	select {
	case err := <-ended:
		return err
	case <-running.Done():
	}
	select {
	case err := <-ended:
		return err
	case <-time.After(shutdownGrace):
		h.log.Warn("a task did not end in time and is left behind")
		if ctx.Err() != nil {
			return nil // we were asked to end
		}
		return context.Cause(running)
	}
}

func (h *house) close() error {
	var errs []error
	for i := len(h.ends) - 1; i >= 0; i-- {
		errs = append(errs, h.ends[i]())
	}
	return errors.Join(errs...)
}
