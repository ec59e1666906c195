// Package web serves the page for the owner, the metrics and the health check.
//
// The page is rendered here and works without JavaScript, by reloading; with it, the
// same parts arrive anew each second as server-sent events. Nothing on it can change
// anything: every route is a GET.
package web

import (
	"context"
	"embed"
	"errors"
	"fmt"
	"hash/fnv"
	"io/fs"
	"log/slog"
	"net"
	"net/http"
	"strings"
	"time"

	"fluewright/analysis/frame"
	"fluewright/daemon/internal/handout"
	"fluewright/daemon/internal/status"
	"fluewright/daemon/internal/verdict"
)

// Units writes quantities in the site's units.
type Units interface {
	Temperature(celsius float64) string
	Pressure(pascals float64) string
	AbsolutePressure(pascals float64) string
}

// Options is what the pages are made from.
type Options struct {
	Site    string
	Version string
	// Notice stands at the top of the page, "Demonstration: a simulated furnace."
	Notice  string
	Feed    *status.Feed
	Verdict verdict.Site
	Units   Units
	// Limits are the temperatures above which a channel is too hot, °C; zero for none.
	Limits [frame.Count]float64
	// DraftLow and DraftHigh are the band that the appliance asks for, Pa.
	DraftLow, DraftHigh float64
	// StaleAfter is how long the newest tick counts as the present one.
	StaleAfter time.Duration
	// Metrics answers /metrics.
	Metrics http.Handler
	// Bundles hands out the history; nil where none is kept.
	Bundles *handout.Desk
	// Names are the host names by which the page may be asked for, besides localhost
	// and the address that it is reached at.
	Names []string
	Log   *slog.Logger
}

//go:embed assets
var embedded embed.FS

// assets are the files beside the page, by name. The page asks for them with their
// version, so that they may be kept for ever.
var assets, assetVersion = func() (fs.FS, string) {
	sub, err := fs.Sub(embedded, "assets")
	if err != nil {
		panic(err) // the folder is compiled in
	}
	sum := fnv.New64a()
	for _, name := range []string{"page.css", "page.js", "icon.svg"} {
		b, err := fs.ReadFile(sub, name)
		if err != nil {
			panic(err)
		}
		_, _ = sum.Write(b) // a hash takes everything
	}
	return sub, fmt.Sprintf("%x", sum.Sum64())
}()

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
	listener net.Listener
	server   *http.Server
	live     *live
}

// Listen opens the address, "127.0.0.1:8080"; port 0 takes a free one. It serves from
// Run on.
func Listen(address string, o Options) (*Server, error) {
	l, err := net.Listen("tcp", address)
	if err != nil {
		return nil, fmt.Errorf("listen for browsers on %s: %w", address, err)
	}
	p := &page{o}
	s := &Server{listener: l, live: newLive(p.fragment)}
	s.server = &http.Server{
		Handler:           handler(p, s.live),
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
		return fmt.Sprintf("http://localhost:%d/", a.Port)
	}
	return "http://" + a.String() + "/"
}

// Run serves until ctx ends, and then ends within half a second.
func (s *Server) Run(ctx context.Context) error {
	streams, stop := context.WithCancel(ctx)
	defer stop()
	go s.live.run(streams)
	failed := make(chan error, 1)
	go func() { failed <- s.server.Serve(s.listener) }()
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

// handler routes and guards.
func handler(p *page, l *live) http.Handler {
	mux := http.NewServeMux()
	mux.HandleFunc("GET /{$}", p.serve)
	mux.HandleFunc("GET /healthz", p.health)
	mux.Handle("GET /events", l)
	mux.Handle("GET /metrics", p.o.Metrics)
	mux.HandleFunc("GET /api/bundle", p.bundle)
	mux.Handle("GET /static/", http.StripPrefix("/static/", forEver(http.FileServerFS(assets))))
	return guard(p.o.Names, mux)
}

func forEver(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if strings.HasSuffix(r.URL.Path, "/") || r.URL.Path == "" {
			http.NotFound(w, r) // no listing
			return
		}
		w.Header().Set("Cache-Control", "public, max-age=31536000, immutable")
		next.ServeHTTP(w, r)
	})
}
