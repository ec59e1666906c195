package app

import (
	"context"
	"log/slog"
	"net"
	"time"

	"github.com/coreos/go-systemd/v22/activation"
	"github.com/coreos/go-systemd/v22/daemon"

	"fluewright/daemon/internal/history"
	"fluewright/daemon/internal/status"
	"fluewright/daemon/internal/verdict"
)

// manager tells the service manager how the program does, in systemd's protocol, and feeds
// its watchdog. It does so only on what the loop hands it, tick by tick: a loop that does
// not come round feeds nothing. It has a task of its own because a send can block, and the
// loop waits for nobody.
type manager struct {
	say      func(state string) error
	watchdog time.Duration // what the service manager waits for; zero: it does not
	fit      func(*status.Status) string
	headline func(*status.Status) string
	log      *slog.Logger

	ticks chan tick // the newest that was not taken yet
}

// tick is a status with why the watch is not kept, empty if it is.
type tick struct {
	status *status.Status
	unfit  string
}

// newManager returns nil where no service manager listens.
func newManager(fit, headline func(*status.Status) string, log *slog.Logger) *manager {
	if listens, err := daemon.SdNotify(false, "STATUS=starting"); !listens {
		if err != nil {
			log.Warn("the service manager cannot be told anything", "error", err)
		}
		return nil
	}
	watchdog, err := daemon.SdWatchdogEnabled(false)
	if err != nil {
		log.Warn("the service manager's watchdog is not understood, and not fed", "error", err)
	}
	return &manager{
		say:      func(state string) error { _, err := daemon.SdNotify(false, state); return err },
		watchdog: watchdog, fit: fit, headline: headline, log: log,
		ticks: make(chan tick, 1),
	}
}

// tick is called by the loop.
func (m *manager) tick(s *status.Status) {
	t := tick{s, m.fit(s)}
	select {
	case <-m.ticks:
	default:
	}
	m.ticks <- t // the loop alone puts one in
}

// statusEvery is how often at most a new line is told.
const statusEvery = time.Second

func (m *manager) run(ctx context.Context) error {
	var ready, failing bool
	var fed, told time.Time
	line, unfit := "", ""
	say := func(state string) {
		err := m.say(state)
		if err != nil && !failing {
			m.log.Warn("the service manager takes no news", "error", err)
		}
		failing = err != nil
	}
	for {
		var t tick
		select {
		case <-ctx.Done():
			say(daemon.SdNotifyStopping)
			return nil
		case t = <-m.ticks:
		}
		now := time.Now()
		if !ready {
			ready = true
			say(daemon.SdNotifyReady)
		}
		if t.unfit != "" && unfit == "" {
			m.log.Error("the watch is not kept, and the watchdog is not fed", "why", t.unfit)
		}
		unfit = t.unfit
		if m.watchdog > 0 && unfit == "" && now.Sub(fed) >= m.watchdog/4 {
			fed = now
			say(daemon.SdNotifyWatchdog)
		}
		if now.Sub(told) < statusEvery {
			continue
		}
		news := m.headline(t.status)
		if unfit != "" {
			news = "Not fit: " + unfit + "."
		}
		if news != line {
			line, told = news, now
			say("STATUS=" + line)
		}
	}
}

// handed returns the sockets that the service manager has opened for the pages: it may open
// a port that the program may not.
func handed(log *slog.Logger) (all []net.Listener) {
	found, err := activation.Listeners()
	if err != nil {
		log.Warn("the service manager's sockets cannot be taken over", "error", err)
	}
	for _, l := range found {
		if l == nil {
			log.Warn("a socket of the service manager is none that browsers connect to")
			continue
		}
		log.Info("pages are at a socket of the service manager too", "address", l.Addr().String())
		all = append(all, l)
	}
	return all
}

// supervise lets a service manager know, where one listens.
func (h *house) supervise(l *loop, site verdict.Site, past func() history.Health) {
	fit := newFitness(h.cfg, past)
	m := newManager(fit.step, func(s *status.Status) string { return site.Judge(s, 0).Headline }, h.log)
	if m == nil {
		return
	}
	// Behind all others: what one of them does wrong to the loop keeps the watchdog unfed.
	l.after = append(l.after, m.tick)
	h.tasks = append(h.tasks, task{"service manager", m.run})
}
