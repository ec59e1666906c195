// Package web serves the pages, the metrics and the health check: it listens, guards and
// routes. The pages themselves are in the packages below it.
package web

import (
	"context"
	"crypto/tls"
	"errors"
	"fmt"
	"io/fs"
	"log/slog"
	"net"
	"net/http"
	"time"

	"fluewright/analysis/frame"
	"fluewright/daemon/internal/about"
	"fluewright/daemon/internal/access"
	"fluewright/daemon/internal/api"
	"fluewright/daemon/internal/command"
	"fluewright/daemon/internal/config"
	"fluewright/daemon/internal/handout"
	"fluewright/daemon/internal/health"
	"fluewright/daemon/internal/status"
	"fluewright/daemon/internal/trend"
	"fluewright/daemon/internal/verdict"
	"fluewright/daemon/internal/web/commissionpage"
	"fluewright/daemon/internal/web/equipment"
	"fluewright/daemon/internal/web/layout"
	"fluewright/daemon/internal/web/now"
	"fluewright/daemon/internal/web/records"
	"fluewright/daemon/internal/web/signin"
	"fluewright/daemon/internal/web/trendpage"
)

// Options is what the pages are made from.
type Options struct {
	Site    string
	Version string
	// Notice stands at the top of the page, "Demonstration: a simulated furnace."
	Notice  string
	Feed    *status.Feed
	Verdict verdict.Site
	Units   now.Units
	// Limits are the temperatures above which a channel is too hot, °C; zero for none.
	Limits [frame.Count]float64
	// DraftLow and DraftHigh are the band that the appliance asks for, Pa.
	DraftLow, DraftHigh float64
	// StaleAfter is how long the newest tick counts as the present one.
	StaleAfter time.Duration
	// Metrics answers /metrics.
	Metrics http.Handler
	// Checks says how the parts of the monitor do; nil: nobody knows.
	Checks func() []health.Check
	// Bundles hands out the history; nil where none is kept.
	Bundles *handout.Desk
	// Actions is what a person may do; nil where nobody may do anything.
	Actions Actions
	// History is what is kept; nil where nothing is.
	History trend.History
	// Config is the site as it is configured.
	Config *config.Config
	// Commission is the site's commissioning; nil: nobody knows of one.
	Commission api.Commission
	// Records and Equipment are what those pages need beside the rest.
	Records   records.Options
	Equipment equipment.Options
	// Commissioning likewise.
	Commissioning commissionpage.Options
	// Gate says who may do what; nil: only what is open to all is served.
	Gate *access.Gate
	// Open opens the address that is listened on; nil takes the computer's.
	Open func(network, address string) (net.Listener, error)
	// CertificateFile and KeyFile make the pages go out encrypted.
	CertificateFile, KeyFile string
	// Handed are listeners that the service manager has opened, served beside the address.
	Handed []net.Listener
	// Names are the host names by which the page may be asked for, besides localhost
	// and the address that it is reached at.
	Names []string
	Log   *slog.Logger
}

// Actions is what a person may do from a page. What is refused is a *command.Refusal. None
// of it reaches the furnace.
type Actions interface {
	now.Actions
	// Note keeps what somebody did or knows, in the name of by.
	Note(ctx context.Context, by string, e command.Entry) error
}

// The limits of one small board that serves a few phones.
const (
	maxHeader     = 16 << 10
	headerTimeout = 5 * time.Second
	writeTimeout  = 10 * time.Second
	idleTimeout   = time.Minute
	shutdown      = 400 * time.Millisecond
)

// Server is a listening server.
type Server struct {
	listener net.Listener   // of the address
	all      []net.Listener // that one, and those that were handed over
	server   *http.Server
	now      *now.Page
	scheme   string
}

// Listen opens the address, "127.0.0.1:8080"; port 0 takes a free one. It serves from
// Run on.
func Listen(address string, o Options) (*Server, error) {
	if o.Open == nil {
		o.Open = func(network, address string) (net.Listener, error) {
			return open.Listen(context.Background(), network, address)
		}
	}
	l, err := o.Open("tcp", address)
	if err != nil {
		return nil, fmt.Errorf("listen for browsers on %s: %w", address, err)
	}
	p, routes, err := routes(o)
	if err != nil {
		return nil, errors.Join(err, l.Close())
	}
	s := &Server{now: p, scheme: "http"}
	guests := &crowd{}
	for _, one := range append([]net.Listener{l}, o.Handed...) {
		s.all = append(s.all, &entrance{one, guests})
	}
	if o.CertificateFile != "" {
		c, err := loadCertificate(o.CertificateFile, o.KeyFile, o.Log)
		if err != nil {
			return nil, errors.Join(err, l.Close())
		}
		for i, one := range s.all {
			s.all[i] = tls.NewListener(one, c.config())
		}
		s.scheme = "https"
	}
	s.listener = s.all[0]
	s.server = &http.Server{
		Handler:           handler(o, routes),
		ConnContext:       introduce,
		ReadHeaderTimeout: headerTimeout,
		WriteTimeout:      writeTimeout, // a stream sets its own for each write
		IdleTimeout:       idleTimeout,
		MaxHeaderBytes:    maxHeader,
		ErrorLog:          slog.NewLogLogger(o.Log.Handler(), slog.LevelDebug),
	}
	return s, nil
}

// Addr is the address that the server listens on.
func (s *Server) Addr() string { return s.listener.Addr().String() }

// URL is where a browser finds the page; on every interface, as this computer sees it.
func (s *Server) URL() string {
	a := s.listener.Addr().(*net.TCPAddr)
	if a.IP.IsUnspecified() {
		return fmt.Sprintf("%s://localhost:%d/", s.scheme, a.Port)
	}
	return s.scheme + "://" + a.String() + "/"
}

// Run serves until ctx ends, and then ends within half a second.
func (s *Server) Run(ctx context.Context) error {
	streams, stop := context.WithCancel(ctx)
	defer stop()
	go s.now.Run(streams)
	failed := make(chan error, len(s.all))
	for _, l := range s.all {
		go func() { failed <- s.server.Serve(l) }()
	}
	select {
	case err := <-failed:
		return fmt.Errorf("serve pages: %w", err)
	case <-ctx.Done():
	}
	grace, cancel := context.WithTimeout(context.Background(), shutdown)
	defer cancel()
	if err := s.server.Shutdown(grace); err != nil {
		// Somebody does not take an answer; that is no reason to stay.
		err = s.server.Close()
		if err != nil && !errors.Is(err, net.ErrClosed) {
			return fmt.Errorf("stop serving pages: %w", err)
		}
	}
	return nil
}

// routes are all addresses, each with what it needs.
func routes(o Options) (*now.Page, []access.Route, error) {
	shell, err := layout.New(layout.Options{
		Site: o.Site, Version: o.Version, Notice: o.Notice, Log: o.Log,
		Files: []fs.FS{now.Assets, trendpage.Assets, records.Assets, equipment.Assets, commissionpage.Assets, signin.Assets},
	})
	if err != nil {
		return nil, nil, err
	}
	p := now.New(now.Options{
		Shell: shell, Feed: o.Feed, Verdict: o.Verdict, Units: o.Units,
		Actions: o.Actions, History: o.History, Site: trend.Site{Config: o.Config, Zone: o.Config.Site.Zone()},
		Limits: o.Limits, DraftLow: o.DraftLow, DraftHigh: o.DraftHigh, StaleAfter: o.StaleAfter, Log: o.Log,
	})
	all := []access.Route{
		{Pattern: "GET /healthz", Needs: access.Open, Handler: http.HandlerFunc(o.health)},
		{Pattern: "GET /static/{name}", Needs: access.Open, Handler: api.Compact(http.HandlerFunc(shell.ServeFile))},
		{Pattern: "GET /metrics", Needs: access.Read, Handler: o.Metrics},
		{Pattern: "GET /api/bundle", Needs: access.Read, Handler: http.HandlerFunc(o.bundle)},
	}
	all = append(all, p.Routes()...)
	site := trend.Site{Config: o.Config, Zone: o.Config.Site.Zone()}
	all = append(all, trendpage.New(trendpage.Options{Shell: shell, Feed: o.Feed, History: o.History, Site: site, Log: o.Log}).Routes()...)
	all = append(all, api.New(api.Options{
		Feed: o.Feed, Verdict: o.Verdict, StaleAfter: o.StaleAfter, History: o.History, Kept: o.Records.Log, Health: o.Equipment.Health,
		Upkeep: o.Records.Upkeep, Actions: o.Actions, Commission: o.Commission, Site: site,
		Configuration: o.Equipment.Configuration, Version: o.Version, Log: o.Log,
	}).Routes()...)
	all = append(all, o.records(shell)...)
	if o.Gate != nil {
		all = append(all, signin.New(signin.Options{Shell: shell, Accounts: o.Gate.Accounts, Log: o.Log}).Routes()...)
	}
	return p, all, nil
}

// records are the routes of what is on record, of what the monitor consists of, and of
// commissioning.
func (o *Options) records(shell *layout.Shell) []access.Route {
	r, e := o.Records, o.Equipment
	r.Shell, r.Feed, r.Verdict, r.StaleAfter, r.Errors = shell, o.Feed, o.Verdict, o.StaleAfter, o.Log
	r.Units, r.Zone, r.Timing = o.Config.Site.Units, o.Config.Site.Zone(), o.Config.Analysis.Timing
	e.Shell, e.Feed, e.StaleAfter, e.Errors = shell, o.Feed, o.StaleAfter, o.Log
	e.Units, e.Zone, e.Build = r.Units, r.Zone, about.Read(o.Version)
	c := o.Commissioning
	c.Shell, c.Feed, c.Verdict, c.StaleAfter, c.Errors, c.Units, c.Zone = shell, o.Feed, o.Verdict, o.StaleAfter, o.Log, r.Units, r.Zone
	all := append(records.New(r).Routes(), equipment.New(e).Routes()...)
	return append(all, commissionpage.New(c).Routes()...)
}

// handler routes, and lets through what the guard and the gate do.
func handler(o Options, routes []access.Route) http.Handler {
	mux := http.NewServeMux()
	for _, r := range routes {
		mux.Handle(r.Pattern, o.Gate.Handler(r))
	}
	return guard(o.Names, attend(mux))
}
