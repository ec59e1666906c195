package api

import (
	"compress/gzip"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"iter"
	"log/slog"
	"math"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"fluewright/analysis/frame"
	"fluewright/daemon/internal/access"
	"fluewright/daemon/internal/burnlog"
	"fluewright/daemon/internal/config"
	"fluewright/daemon/internal/history"
	"fluewright/daemon/internal/status"
	"fluewright/daemon/internal/trend"
)

var noon = time.Date(2026, 11, 25, 12, 0, 0, 0, time.UTC)

// kept is an hour of a flue and a draft; from 12:20 on the flue is not read for ten minutes.
func kept(t testing.TB) *history.Store {
	t.Helper()
	s := history.New(history.Options{Dir: t.TempDir(), Log: slog.New(slog.DiscardHandler)})
	ctx, cancel := context.WithCancel(context.Background())
	ended := make(chan error, 1)
	go func() { ended <- s.Run(ctx) }()
	t.Cleanup(func() {
		cancel()
		if err := errors.Join(<-ended, s.Close(context.Background())); err != nil {
			t.Error(err)
		}
	})
	for at := time.Duration(0); at <= time.Hour; at += time.Second {
		st := &status.Status{Wall: noon.Add(at), ClockTrusted: true}
		st.Frame.At = at
		st.Frame.Inputs[frame.Draft] = frame.Input{Value: 12.5, Quality: frame.Good}
		if at < 20*time.Minute || at >= 30*time.Minute {
			st.Frame.Inputs[frame.Flue] = frame.Input{Value: 200 + math.Floor(at.Minutes()), Quality: frame.Good}
		}
		s.Offer(st)
	}
	if err := s.Commit(ctx); err != nil {
		t.Fatal(err)
	}
	return s
}

func serve(t testing.TB, h trend.History) http.Handler {
	t.Helper()
	cfg := config.Default()
	cfg.Site.Name = "cellar-7"
	cfg.Analysis.Fitted = [frame.Count]bool{frame.Flue: true, frame.Draft: true}
	mux := http.NewServeMux()
	for _, r := range New(Options{History: h, Site: trend.Site{Config: cfg, Zone: time.UTC}, Version: "v1", Log: slog.New(slog.DiscardHandler)}).Routes() {
		if r.Needs != access.Read {
			t.Errorf("%s needs %v", r.Pattern, r.Needs)
		}
		mux.Handle(r.Pattern, r.Handler)
	}
	return mux
}

func get(h http.Handler, path string, headers ...string) *httptest.ResponseRecorder {
	r := httptest.NewRequest("GET", path, nil)
	for i := 0; i < len(headers); i += 2 {
		r.Header.Set(headers[i], headers[i+1])
	}
	w := httptest.NewRecorder()
	h.ServeHTTP(w, r)
	return w
}

// course is the answer as a program reads it.
type course struct {
	From, To time.Time
	Columns  int
	Channels []struct {
		Channel, Quantity           string
		Readings                    int
		GoodShare                   *float64 `json:"good_share"`
		Least, Mean, Greatest, Good []*float64
	}
	Kept                                         struct{ From, To time.Time }
	Phases, Alarms, Loads, Doors, Notices, Notes []any
}

func TestTrend(t *testing.T) {
	h := serve(t, kept(t))
	w := get(h, "/api/v1/trend?from=2026-11-25T12:00:00Z&to=2026-11-25T13:00:00Z&columns=6")
	var c course
	if err := json.Unmarshal(w.Body.Bytes(), &c); err != nil || w.Code != http.StatusOK {
		t.Fatal(w.Code, err, w.Body)
	}
	if !c.From.Equal(noon) || !c.To.Equal(noon.Add(time.Hour)) || c.Columns != 6 || !c.Kept.From.Equal(noon) {
		t.Errorf("%+v", c)
	}
	if len(c.Channels) != 2 || c.Channels[0].Quantity != "flue_celsius" || c.Channels[1].Quantity != "draft_pascals" {
		t.Fatalf("%+v", c.Channels)
	}
	flue := c.Channels[0]
	if len(flue.Mean) != 6 || *flue.Least[0] != 200 || *flue.Greatest[0] != 209 || *flue.Mean[0] != 204.5 || *flue.Good[0] != 1 {
		t.Errorf("the first column: %v %v %v", *flue.Least[0], *flue.Mean[0], *flue.Greatest[0])
	}
	if flue.Mean[2] != nil || flue.Good[2] != nil || flue.Readings != 3000 {
		t.Errorf("where nothing was read: %v, of %d", flue.Mean[2], flue.Readings)
	}
	for name, list := range map[string][]any{"phases": c.Phases, "alarms": c.Alarms, "loads": c.Loads, "doors": c.Doors, "notices": c.Notices, "notes": c.Notes} {
		if list == nil {
			t.Errorf("%s is null, not empty", name)
		}
	}
	// Seconds since 1970 ask for the same, and one channel is one.
	var same course
	w = get(h, fmt.Sprintf("/api/v1/trend?from=%d&to=%d.0&columns=6&channels=draft", noon.Unix(), noon.Add(time.Hour).Unix()))
	if err := json.Unmarshal(w.Body.Bytes(), &same); err != nil || !same.From.Equal(c.From) || len(same.Channels) != 1 || same.Channels[0].Channel != "draft" {
		t.Error(w.Code, err, w.Body)
	}
	if w = get(h, "/api/v1/trend"); w.Code != http.StatusOK || !strings.Contains(w.Body.String(), `"columns":800`) {
		t.Error(w.Code, w.Body)
	}
}

func TestStatistics(t *testing.T) {
	w := get(serve(t, kept(t)), "/api/v1/trend/statistics?from=2026-11-25T12:00:00Z&to=2026-11-25T13:00:00Z")
	var s struct {
		Channels []struct {
			Channel               string
			Readings              int
			Read                  float64 `json:"read_share"`
			Least, Mean, Greatest float64
		}
	}
	if err := json.Unmarshal(w.Body.Bytes(), &s); err != nil || len(s.Channels) != 2 {
		t.Fatal(w.Code, err, w.Body)
	}
	// The means of minutes 0 to 19 and 30 to 59.
	if f := s.Channels[0]; f.Readings != 3000 || math.Abs(f.Read-5./6) > 1e-9 || f.Least != 200 || f.Greatest != 259 || math.Abs(f.Mean-230.5) > 0.01 {
		t.Errorf("%+v", f)
	}
	if d := s.Channels[1]; d.Readings != 3600 || d.Least != 12.5 || d.Mean != 12.5 {
		t.Errorf("%+v", d)
	}
}

// What is refused is refused as RFC 9457 has it, and says what would be right.
func TestProblems(t *testing.T) {
	h, none := serve(t, kept(t)), serve(t, nil)
	for _, tt := range []struct {
		h    http.Handler
		path string
		code int
		says string
	}{
		{h, "/api/v1/trend?form=now", 400, `there is no \"form\"`},
		{h, "/api/v1/trend?from=yesterday", 400, "want one as 2026-01-31T21:00:00Z"},
		{h, "/api/v1/trend?from=1e300", 400, "is no time"},
		{h, "/api/v1/trend?from=NaN", 400, "is no time"},
		{h, "/api/v1/trend?columns=0", 400, "want 1 to 10000"},
		{h, "/api/v1/trend?columns=100000", 400, "want 1 to 10000"},
		{h, "/api/v1/trend?channels=flue,smoke", 400, `\"smoke\" is no channel`},
		{h, "/api/v1/trend?from=1&from=2", 400, "more than once"},
		{h, "/api/v1/trend?from=2030-01-01T00:00:00Z", 404, "nothing is kept"},
		{h, "/api/v1/trend?burn=3", 404, "no burn has ended"},
		{h, "/api/v1/trend/export?format=pdf", 400, "The format must be"},
		{h, "/api/v1/trend/export?format=html&every=1m", 400, "no rows"},
		{h, "/api/v1/trend/export?format=csv&every=1ms", 400, "from 1s to 24h"},
		{none, "/api/v1/trend", 404, "keeps no history"},
		{none, "/api/v1/trend/export?format=csv", 404, "keeps no history"},
	} {
		w := get(tt.h, tt.path)
		var p Problem
		err := json.Unmarshal(w.Body.Bytes(), &p)
		if w.Code != tt.code || err != nil || p.Status != tt.code || p.Title == "" || !strings.Contains(w.Body.String(), tt.says) ||
			w.Header().Get("Content-Type") != "application/problem+json" || w.Header().Get("Cache-Control") != "no-store" {
			t.Errorf("%s: %d %s %s", tt.path, w.Code, w.Header(), w.Body)
		}
	}
}

// What did not change is not sent again, and what is sent is small.
func TestCompact(t *testing.T) {
	text := strings.Repeat("furnace ", 500)
	h := Compact(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		w.Header().Set("Content-Type", "text/plain")
		if r.URL.Path == "/none" {
			w.WriteHeader(http.StatusNotFound)
		}
		_, _ = io.WriteString(w, text)
	}))
	plain := get(h, "/")
	zipped := get(h, "/", "Accept-Encoding", "br, GZIP ;q=0.5")
	if plain.Body.String() != text || plain.Header().Get("Content-Encoding") != "" || plain.Header().Get("Vary") != "Accept-Encoding" {
		t.Errorf("plain: %v", plain.Header())
	}
	z, err := gzip.NewReader(zipped.Body)
	if err != nil {
		t.Fatal(err)
	}
	if b, err := io.ReadAll(z); err != nil || string(b) != text || zipped.Header().Get("Content-Encoding") != "gzip" {
		t.Errorf("compressed: %v %v", err, zipped.Header())
	}
	tag, other := plain.Header().Get("ETag"), zipped.Header().Get("ETag")
	if tag == "" || tag == other {
		t.Errorf("tags %s and %s: other bytes need another", tag, other)
	}
	for _, tt := range []struct {
		path, accept, known string
		code                int
	}{
		{"/", "", tag, 304},
		{"/", "", "W/" + tag, 304},
		{"/", "", `"other", ` + tag, 304},
		{"/", "", "*", 304},
		{"/", "", other, 200},
		{"/", "gzip", other, 304},
		{"/", "gzip;q=0", tag, 304},
		{"/", "", `"other"`, 200},
		{"/none", "gzip", "*", 404},
	} {
		w := get(h, tt.path, "Accept-Encoding", tt.accept, "If-None-Match", tt.known)
		if w.Code != tt.code || tt.code == 304 && w.Body.Len() != 0 || tt.code == 404 && (w.Header().Get("ETag") != "" || w.Body.String() != text) {
			t.Errorf("%+v: %d, %d bytes, %v", tt, w.Code, w.Body.Len(), w.Header())
		}
	}
	text = "short"
	if w := get(h, "/", "Accept-Encoding", "gzip"); w.Body.String() != "short" {
		t.Errorf("what is short was compressed: %q", w.Body)
	}
}

func TestExport(t *testing.T) {
	server := httptest.NewServer(serve(t, kept(t)))
	defer server.Close()
	for _, tt := range []struct {
		format, query string
		rows          int
	}{{"csv", "", 3600}, {"csv.gz", "", 3600}, {"csv", "&every=1m", 60}, {"csv", "&every=10m&channels=flue", 5}} {
		r, err := http.Get(server.URL + "/api/v1/trend/export?format=" + tt.format + tt.query)
		if err != nil {
			t.Fatal(err)
		}
		defer r.Body.Close()
		if want := `attachment; filename="cellar-7-20261125-1200.` + tt.format + `"`; r.Header.Get("Content-Disposition") != want {
			t.Errorf("%s: %v", tt.format, r.Header)
		}
		log, err := burnlog.NewReader(r.Body)
		if err != nil {
			t.Fatal(tt, err)
		}
		n := 0
		for {
			if _, _, err := log.Next(); errors.Is(err, io.EOF) {
				break
			} else if err != nil {
				t.Fatal(tt, err)
			}
			n++
		}
		if n != tt.rows {
			t.Errorf("%+v: %d rows", tt, n)
		}
	}
	for format, begins := range map[string]string{"parquet": "PAR1", "html": "<!DOCTYPE html>"} {
		r, err := http.Get(server.URL + "/api/v1/trend/export?format=" + format)
		if err != nil {
			t.Fatal(err)
		}
		b, err := io.ReadAll(r.Body)
		if err != nil || r.StatusCode != 200 || !strings.HasPrefix(string(b), begins) {
			t.Errorf("%s: %d %v %.40q", format, r.StatusCode, err, b)
		}
		_ = r.Body.Close()
	}
}

// broken is a history whose file cannot be read from some row on.
type broken struct {
	*history.Store
	good int
}

func (b broken) Rows(ctx context.Context, from, to time.Time) iter.Seq2[history.Row, error] {
	return func(yield func(history.Row, error) bool) {
		n := 0
		for row, err := range b.Store.Rows(ctx, from, to) {
			if n++; n > b.good {
				yield(history.Row{}, errors.New("the card is gone"))
				return
			}
			if !yield(row, err) {
				return
			}
		}
	}
}

// A file that was not written to its end must not pass for a whole one.
func TestACutExportIsSeen(t *testing.T) {
	store := kept(t)
	server := httptest.NewServer(serve(t, broken{store, 0}))
	defer server.Close()
	r, err := http.Get(server.URL + "/api/v1/trend/export?format=csv")
	if err != nil {
		t.Fatal(err)
	}
	defer r.Body.Close()
	if b, _ := io.ReadAll(r.Body); r.StatusCode != http.StatusInternalServerError || !strings.Contains(string(b), "the card is gone") || r.Header.Get("Content-Disposition") != "" {
		t.Errorf("at once: %d %s", r.StatusCode, b)
	}
	server.Config.Handler = serve(t, broken{store, 3000})
	r, err = http.Get(server.URL + "/api/v1/trend/export?format=csv")
	if err != nil {
		t.Fatal(err)
	}
	defer r.Body.Close()
	if b, err := io.ReadAll(r.Body); err == nil {
		t.Errorf("%d bytes pass for the whole", len(b))
	}
}

// A few may be written out at once, and the next is told to come again.
func TestManyExports(t *testing.T) {
	a := New(Options{History: kept(t), Site: trend.Site{Config: config.Default(), Zone: time.UTC}, Log: slog.New(slog.DiscardHandler)})
	for range mostExports {
		a.exports <- struct{}{}
	}
	w := get(http.HandlerFunc(a.export), "/?format=csv")
	if w.Code != http.StatusServiceUnavailable || w.Header().Get("Retry-After") == "" {
		t.Error(w.Code, w.Header())
	}
}

func FuzzRead(f *testing.F) {
	f.Add("from=1&to=2&columns=3&channels=flue,draft&since=1h&burn=last&format=csv&every=1m")
	f.Add("from=2026-01-31T21:00:00Z&channels=,")
	f.Add("from=-62135596800.5&every=-1h")
	f.Fuzz(func(t *testing.T, query string) {
		r := httptest.NewRequest("GET", "/", nil)
		r.URL.RawQuery = query
		q, err := read(r.URL.Query(), "from", "to", "since", "burn", "channels", "columns", "format", "every")
		if err != nil {
			return
		}
		if q.columns < 1 || q.columns > history.MostColumns || q.every < 0 || q.pick.Since < 0 {
			t.Errorf("%+v", q)
		}
		for _, at := range []time.Time{q.pick.From, q.pick.To} {
			if y := at.Year(); y < 0 || y > 9999 {
				t.Errorf("%v cannot be written", at)
			}
		}
	})
}
