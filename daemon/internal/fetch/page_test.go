package fetch_test

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"math/rand/v2"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"fluewright/daemon/internal/access"
	"fluewright/daemon/internal/config"
	"fluewright/daemon/internal/fetch"
	"fluewright/daemon/internal/fetch/linetest"
	"fluewright/daemon/internal/handout"
	"fluewright/daemon/internal/history"
	"fluewright/daemon/internal/status"
	"fluewright/daemon/internal/status/statustest"
	"fluewright/daemon/internal/units"
	"fluewright/daemon/internal/web"
)

var noon = time.Date(2026, 11, 25, 12, 0, 0, 0, time.UTC)

// past is a history whose bundles are random bytes, others each time.
type past struct {
	size int

	mu   sync.Mutex
	made [][]byte
}

func (*past) Span() (from, to time.Time) { return noon, noon.Add(48 * time.Hour) }
func (*past) Health() history.Health     { return history.Health{Bytes: 1000} }
func (*past) Events(context.Context, string, time.Time, time.Time) ([]history.Event, error) {
	return nil, nil
}

func (p *past) Bundle(_ context.Context, w io.Writer, from, to time.Time, d history.Detail, _ int64) (history.Bundled, error) {
	p.mu.Lock()
	defer p.mu.Unlock()
	b := make([]byte, p.size)
	r := rand.NewChaCha8([32]byte{byte(len(p.made))})
	_, _ = r.Read(b)
	p.made = append(p.made, b)
	_, err := w.Write(b)
	return history.Bundled{From: from, To: to, FullFrom: from, Bytes: int64(p.size), Detail: d}, err
}

func (p *past) bundles() [][]byte {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.made
}

// serve begins a monitor's page that this computer may read, and returns its address.
func serve(t *testing.T, p *past) (*handout.Desk, string) {
	t.Helper()
	return guarded(t, p, &access.Gate{Accounts: access.Load(""), Reading: access.ThisComputerReads})
}

// guarded begins one with a gate.
func guarded(t *testing.T, p *past, g *access.Gate) (*handout.Desk, string) {
	t.Helper()
	t.Setenv("XDG_CACHE_HOME", t.TempDir())
	desk := handout.New(t.TempDir(), p, slog.New(slog.DiscardHandler))
	s, err := web.Listen("127.0.0.1:0", web.Options{
		Site: "cellar-7", Feed: status.NewFeed(), Verdict: statustest.Site, Units: units.SI, Bundles: desk,
		Config: config.Default(), Metrics: http.NotFoundHandler(), Gate: g, Log: slog.New(slog.DiscardHandler),
	})
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan struct{})
	go func() { defer close(done); _ = s.Run(ctx) }()
	t.Cleanup(func() { cancel(); <-done })
	return desk, s.Addr()
}

// said keeps what a person was told.
type said struct {
	mu    sync.Mutex
	lines []string
}

func (s *said) options() fetch.Options {
	return fetch.Options{Retry: 10 * time.Millisecond, Say: func(format string, args ...any) {
		s.mu.Lock()
		defer s.mu.Unlock()
		s.lines = append(s.lines, fmt.Sprintf(format, args...))
	}}
}

func (s *said) String() string {
	s.mu.Lock()
	defer s.mu.Unlock()
	return strings.Join(s.lines, "\n")
}

var twoDays = handout.Form{Since: 48 * 3600}

// equal compares what came with what was sent, and clears it away.
func equal(t *testing.T, f *fetch.Fetched, want []byte) {
	t.Helper()
	got, err := os.ReadFile(f.Path)
	if err != nil || !bytes.Equal(got, want) {
		t.Errorf("%d bytes that are not the %d that were sent, %v", len(got), len(want), err)
	}
	if err := f.Close(); err != nil {
		t.Error(err)
	}
	if _, err := os.Stat(f.Path); !errors.Is(err, os.ErrNotExist) {
		t.Error("the part is left behind")
	}
}

func TestPageOverALineThatBreaks(t *testing.T) {
	p := &past{size: 3_000_000}
	_, at := serve(t, p)
	line := linetest.Lay(t, at, linetest.Budget{Down: 700_000}, linetest.Budget{Up: 100}, linetest.Budget{Down: 900_000})
	var told said
	f, err := fetch.Page(t.Context(), "http://"+line.Addr(), twoDays, told.options())
	if err != nil {
		t.Fatal(err)
	}
	equal(t, f, p.bundles()[0])
	if line.Breaks() != 3 || len(p.bundles()) != 1 {
		t.Errorf("cut %d times, made %d bundles", line.Breaks(), len(p.bundles()))
	}
	if !strings.Contains(told.String(), "The line is lost") {
		t.Errorf("said %q", told.String())
	}
}

// A client that was killed goes on where it was, and one whose bundle is forgotten says so.
func TestPageGoesOnAfterTheClientsEnd(t *testing.T) {
	p := &past{size: 2_000_000}
	_, at := serve(t, p)
	for _, forget := range []bool{false, true} {
		t.Run(fmt.Sprint("forgotten ", forget), func(t *testing.T) {
			ctx, kill := context.WithCancel(t.Context())
			line := linetest.Lay(t, at, linetest.Budget{Down: 900_000}, linetest.Budget{Up: 1}, linetest.Budget{Up: 1}, linetest.Budget{Up: 1})
			o := fetch.Options{Retry: 10 * time.Millisecond, Say: func(string, ...any) { kill() }}
			if _, err := fetch.Page(ctx, "http://"+line.Addr(), twoDays, o); err == nil {
				t.Fatal("it came whole")
			}
			made := len(p.bundles())
			if forget {
				// Others' wishes push it out.
				for i := range 3 {
					f, err := fetch.Page(t.Context(), "http://"+at, handout.Form{Since: float64(60 * (i + 1))}, fetch.Options{})
					if err != nil {
						t.Fatal(err)
					}
					if err := f.Close(); err != nil {
						t.Fatal(err)
					}
				}
			}
			line.Budget()
			var told said
			f, err := fetch.Page(t.Context(), "http://"+line.Addr(), twoDays, told.options())
			if err != nil {
				t.Fatal(err)
			}
			want := p.bundles()[made-1]
			if forget {
				want = p.bundles()[len(p.bundles())-1]
			}
			equal(t, f, want)
			if again := strings.Contains(told.String(), "all of it comes again"); again != forget {
				t.Errorf("said %q", told.String())
			}
		})
	}
}

func TestTwoAskThePageAtOnce(t *testing.T) {
	p := &past{size: 500_000}
	_, at := serve(t, p)
	var both sync.WaitGroup
	for range 2 {
		both.Go(func() {
			f, err := fetch.Page(t.Context(), "http://"+at, twoDays, fetch.Options{})
			if err != nil {
				t.Error(err)
				return
			}
			got, err := os.ReadFile(f.Path)
			if err != nil || len(got) != p.size {
				t.Errorf("%d bytes, %v", len(got), err)
			}
			if err := f.Close(); err != nil {
				t.Error(err)
			}
		})
	}
	both.Wait()
}

func TestPageRefuses(t *testing.T) {
	p := &past{size: 1000}
	_, at := serve(t, p)
	for name, c := range map[string]struct {
		page string
		form handout.Form
		want string
	}{
		"a time before the history": {"http://" + at, handout.Form{From: "2020-01-01T00:00:00Z", To: "2020-01-02T00:00:00Z"}, "nothing is kept from 2020"},
		"two windows at once":       {"http://" + at, handout.Form{Since: 60, Burn: "last"}, "choose the window"},
		"no address":                {"furnace", twoDays, "no address"},
		"another detail":            {"http://" + at, handout.Form{Detail: "raw"}, "detail"},
	} {
		t.Run(name, func(t *testing.T) {
			_, err := fetch.Page(t.Context(), c.page, c.form, fetch.Options{})
			if err == nil || !strings.Contains(err.Error(), c.want) {
				t.Errorf("%v, want one with %q", err, c.want)
			}
		})
	}
	// A parameter that is misspelt, and a page elsewhere that makes a browser ask.
	for _, c := range []struct {
		query, site string
		want        int
	}{{"sinze=48h", "", 400}, {"since=1h&since=2h", "", 400}, {"since=1h", "cross-site", 403}, {"since=1h", "same-origin", 200}} {
		r, err := http.NewRequestWithContext(t.Context(), http.MethodGet, "http://"+at+"/api/bundle?"+c.query, http.NoBody)
		if err != nil {
			t.Fatal(err)
		}
		if c.site != "" {
			r.Header.Set("Sec-Fetch-Site", c.site)
		}
		a, err := http.DefaultClient.Do(r)
		if err != nil {
			t.Fatal(err)
		}
		_ = a.Body.Close()
		if a.StatusCode != c.want || a.Header.Get("Cache-Control") != "no-store" {
			t.Errorf("%s from %q: %s", c.query, c.site, a.Status)
		}
	}
}

// The desk leaves nothing behind.
func TestDeskClearsAway(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "bundles")
	desk := handout.New(dir, &past{size: 1000}, slog.New(slog.DiscardHandler))
	for range 5 {
		if _, err := desk.Make(t.Context(), handout.Wish{}); err != nil {
			t.Fatal(err)
		}
	}
	if all, err := os.ReadDir(dir); err != nil || len(all) != 3 {
		t.Errorf("%d are kept, %v", len(all), err)
	}
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if err := desk.Run(ctx); err != nil {
		t.Error(err)
	}
	if _, err := os.Stat(dir); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("the directory is left behind: %v", err)
	}
}

// TestWithAToken: a monitor that lets nobody read wants one, and says so at once; it goes to
// nobody else.
func TestWithAToken(t *testing.T) {
	g := &access.Gate{Accounts: access.Load("")}
	token, err := g.Accounts.AddToken("desk", access.Viewer)
	if err != nil {
		t.Fatal(err)
	}
	_, at := guarded(t, &past{size: 1000}, g)
	for shown, want := range map[string]string{"": "send a token", "fluewright_wrong": "not one of this monitor's"} {
		_, err := fetch.Page(t.Context(), "http://"+at, twoDays, fetch.Options{Token: shown})
		if err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("with the token %q: %v", shown, err)
		}
	}
	got, err := fetch.Page(t.Context(), "http://"+at, twoDays, fetch.Options{Token: token})
	if err != nil {
		t.Fatal(err)
	}
	if err := got.Close(); err != nil {
		t.Error(err)
	}

	thief := httptest.NewServer(http.HandlerFunc(func(_ http.ResponseWriter, r *http.Request) {
		t.Errorf("another was asked, with %q", r.Header.Get("Authorization"))
	}))
	defer thief.Close()
	on := httptest.NewServer(http.RedirectHandler(thief.URL, http.StatusFound))
	defer on.Close()
	if _, err := fetch.Page(t.Context(), on.URL, twoDays, fetch.Options{Token: token}); err == nil || !strings.Contains(err.Error(), "sends us on") {
		t.Errorf("sent on: %v", err)
	}
}
