package web

import (
	"bufio"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"log/slog"
	"net"
	"net/http"
	"net/http/httptest"
	"regexp"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"fluewright/analysis/alarm"
	"fluewright/analysis/burn"
	"fluewright/analysis/frame"
	"fluewright/daemon/internal/access"
	"fluewright/daemon/internal/config"
	"fluewright/daemon/internal/health"
	"fluewright/daemon/internal/status"
	"fluewright/daemon/internal/status/statustest"
	"fluewright/sensors"
)

type us struct{}

func (us) Temperature(c float64) string      { return fmt.Sprintf("%.0f °F", c*9/5+32) }
func (us) Pressure(pa float64) string        { return fmt.Sprintf("%.3f in. w.c.", pa/249.08891) }
func (us) AbsolutePressure(p float64) string { return fmt.Sprintf("%.2f inHg", p/3386.389) }

func options() Options {
	return Options{
		Site: "cellar-7", Version: "v0.1.0", Feed: status.NewFeed(), Verdict: statustest.Site, Units: us{},
		Limits: [frame.Count]float64{frame.Firebox: 900, frame.Flue: 700}, DraftLow: 8, DraftHigh: 15,
		StaleAfter: 5 * time.Second, Config: config.Default(),
		Metrics: http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) {
			_, _ = io.WriteString(w, "fluewright_phase 1\n")
		}),
		Gate:  &access.Gate{Accounts: access.Load(""), Reading: access.NetworkReads},
		Names: []string{"board.lan", "furnace"}, Log: slog.New(slog.DiscardHandler),
	}
}

func served(o Options) http.Handler {
	_, all, err := routes(o)
	if err != nil {
		panic(err)
	}
	return handler(o, all)
}

// get asks for path as a browser on the same computer does.
func get(h http.Handler, path string) *httptest.ResponseRecorder {
	r := httptest.NewRequest("GET", "http://localhost:8080"+path, nil)
	w := httptest.NewRecorder()
	h.ServeHTTP(w, r)
	return w
}

func body(t *testing.T, o Options) string {
	t.Helper()
	w := get(served(o), "/")
	if w.Code != http.StatusOK {
		t.Fatalf("GET / answers %d", w.Code)
	}
	return w.Body.String()
}

func TestThePage(t *testing.T) {
	alarming := func() *status.Status {
		s := statustest.Burning()
		statustest.Change(s, alarm.Overheat, frame.Flue, alarm.Raised, 705, 700)
		s.Frame.Inputs[frame.Flue].Value = 705
		return statustest.After(s, 3*time.Minute)
	}
	for _, tt := range []struct {
		name       string
		s          *status.Status
		says, hush []string
	}{
		{
			"all is well", statustest.Burning(),
			[]string{"No alarm. The fire burns clean.", "457 °F", "limit 1292 °F", `0.049 <span class="unit">in. w.c.</span>`, "this is within", "29.00 inHg", "no carbon monoxide alarm", "fire service"},
			[]string{"no reading", "Do first", "Blind"},
		},
		{
			"an alarm", alarming(),
			[]string{"Alarm: The flue is too hot.", "Close the air inlet.", "high priority, for 3 min", "above its limit", `class="verdict alarm"`},
			[]string{"No alarm."},
		},
		{
			"a lost sensor: its number is not shown", func() *status.Status {
				s := statustest.Burning()
				statustest.Lose(s, frame.Flue, sensors.OpenCircuit)
				return statustest.After(s, 80*time.Second)
			}(),
			[]string{"Blind: no reading of flue.", "— no reading", "thermocouple open; last read 80 s ago", "How the fire burns cannot be told", "cannot be judged"},
			[]string{"457 °F", "No alarm.", "burns clean"},
		},
		{
			"a lost draft: no bar either", func() *status.Status {
				s := statustest.Burning()
				statustest.Lose(s, frame.Draft, sensors.NoAnswer)
				return s
			}(),
			[]string{"The draft cannot be told", "the chip does not answer"},
			[]string{"0.049", "0.050", "this is within", `class="bar"`},
		},
		{
			"a doubtful reading says so", func() *status.Status {
				s := statustest.Burning()
				s.Frame.Inputs[frame.Flue] = frame.Input{Value: 236.37, Quality: frame.Suspect, Fault: string(sensors.ColdJunctionHot)}
				return s
			}(),
			[]string{"457 °F", "doubtful: terminals of the amplifier are hot"},
			nil,
		},
		{
			"a turned draft", func() *status.Status {
				s := statustest.Burning()
				s.Assessment.Draft.Value = -2
				return s
			}(),
			[]string{"Turned: flue gas can come into the house."},
			[]string{"this is within"},
		},
		{
			"a weak draft without a fire is usual", func() *status.Status {
				s := statustest.Burning()
				s.Assessment.Draft.Value, s.Assessment.Phase = 3, burn.Cold
				return s
			}(),
			[]string{"without a fire a weaker draft is usual"},
			[]string{"too weak"},
		},
		{
			"the first tick", statustest.Starting(),
			[]string{"Checking: waiting for the first reading of 6 sensors.", "not read yet", "clock is not set"},
			[]string{"No alarm.", "°F</b>"},
		},
		{"before the first tick", nil, []string{"Checking: the monitor has just started.", "no reading yet"}, []string{"No alarm."}},
	} {
		t.Run(tt.name, func(t *testing.T) {
			o := options()
			if tt.s != nil {
				o.Feed.Publish(tt.s)
			}
			got := body(t, o)
			// What “all is well” means is explained on every page.
			got = strings.ReplaceAll(got, "“No alarm”", "")
			for _, want := range tt.says {
				if !strings.Contains(got, want) {
					t.Errorf("the page does not say %q", want)
				}
			}
			for _, not := range tt.hush {
				if strings.Contains(got, not) {
					t.Errorf("the page says %q", not)
				}
			}
		})
	}
}

// TestALoopThatStandsStill: what was well is not well for ever.
func TestALoopThatStandsStill(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		o := options()
		o.Feed.Publish(statustest.Burning())
		time.Sleep(12 * time.Second)
		got := strings.ReplaceAll(body(t, o), "“No alarm”", "")
		for _, want := range []string{"Blind: the monitor has read nothing for 12 s.", "too old; last read 12 s ago", "The draft cannot be told"} {
			if !strings.Contains(got, want) {
				t.Errorf("the page does not say %q", want)
			}
		}
		for _, not := range []string{"No alarm", "457 °F", "0.049", "<td>normal</td>", "burns clean"} {
			if strings.Contains(got, not) {
				t.Errorf("the page says %q", not)
			}
		}
	})
}

func TestHealth(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		o := options()
		h := served(o)
		ask := func() (code int, state string, problems int) {
			w := get(h, "/healthz")
			var answer struct {
				Status   string
				Problems []string
			}
			if err := json.Unmarshal(w.Body.Bytes(), &answer); err != nil {
				t.Fatal(err)
			}
			return w.Code, answer.Status, len(answer.Problems)
		}
		check := func(when string, code int, state string, problems int) {
			t.Helper()
			c, s, p := ask()
			if c != code || s != state || p != problems {
				t.Errorf("%s: %d %s with %d problems, want %d %s with %d", when, c, s, p, code, state, problems)
			}
		}
		check("before the first tick", 503, "failing", 1)
		s := statustest.Burning()
		statustest.Lose(s, frame.Flue, sensors.OpenCircuit)
		o.Feed.Publish(s)
		check("ticking, a sensor lost", 200, "ok", 0)
		time.Sleep(6 * time.Second)
		check("the loop stands still", 503, "failing", 1)
		o.Feed.Publish(statustest.Burning())
		check("ticking again", 200, "ok", 0)

		// What else is wrong is told, and does not make the loop fail.
		o.Checks = func() []health.Check {
			return []health.Check{{Name: "storage", State: health.Wrong, Message: "it is full"}}
		}
		h = served(o)
		check("the storage full", 200, "ok", 0)
		if got := get(h, "/healthz").Body.String(); !strings.Contains(got, `{"name":"storage","state":"wrong","message":"it is full"}`) {
			t.Errorf("it answers %s", got)
		}
	})
}

func TestWhoMayAsk(t *testing.T) {
	h := served(options())
	local := &net.TCPAddr{IP: net.IPv4(192, 168, 7, 20), Port: 8080}
	for _, tt := range []struct {
		host string
		ok   bool
	}{
		{"localhost", true},
		{"LOCALHOST.:8080", true},
		{"127.0.0.1:8080", true},
		{"[::1]:8080", true},
		{"192.168.7.20:8080", true},
		{"192.168.7.21:8080", false},
		{"board.lan", true},
		{"furnace.local:8080", true},
		{"furnace.example", false},
		{"evil.example:8080", false},
		{"localhost.evil.example", false},
		{"", false},
	} {
		for _, path := range []string{"/", "/events", "/metrics", "/healthz", "/static/now.js"} {
			ctx, cancel := context.WithCancel(context.WithValue(context.Background(), http.LocalAddrContextKey, local))
			cancel() // so that the stream ends at once
			r := httptest.NewRequest("GET", path, nil).WithContext(ctx)
			r.Host = tt.host
			w := httptest.NewRecorder()
			h.ServeHTTP(w, r)
			if refused := w.Code == http.StatusMisdirectedRequest; refused == tt.ok {
				t.Errorf("GET %s of host %q: %d", path, tt.host, w.Code)
			}
		}
	}
}

// TestNothingCanBeSent: no page takes anything.
func TestNothingCanBeSent(t *testing.T) {
	h := served(options())
	for _, method := range []string{"POST", "PUT", "DELETE", "PATCH"} {
		r := httptest.NewRequest(method, "http://localhost/", nil)
		r.Header.Set("Origin", "http://localhost")
		w := httptest.NewRecorder()
		h.ServeHTTP(w, r)
		if w.Code != http.StatusMethodNotAllowed {
			t.Errorf("%s / answers %d", method, w.Code)
		}
	}
	r := httptest.NewRequest("GET", "http://localhost/", strings.NewReader("a=b"))
	w := httptest.NewRecorder()
	h.ServeHTTP(w, r)
	if w.Code != http.StatusBadRequest {
		t.Errorf("a body is answered by %d", w.Code)
	}
	for _, path := range []string{"/static/", "/static/../page.html", "/static/%2e%2e/web.go", "/nothing"} {
		if w := get(h, path); w.Code == http.StatusOK {
			t.Errorf("GET %s is answered", path)
		}
	}
}

var (
	inline  = regexp.MustCompile(`(?i)<style|<script(?:>| [^>]*>[^<])|\s(?:style|on[a-z]+)=|javascript:`)
	outside = regexp.MustCompile(`(?i)(?:src|href)="(?:https?:)?//`)
)

// TestTheBrowserIsBound: the policy allows nothing inline, and the page brings nothing
// that it would forbid, nor anything from elsewhere.
func TestTheBrowserIsBound(t *testing.T) {
	o := options()
	o.Site, o.Notice = `<script>alert(1)</script>`, `"><img src=x onerror=alert(1)>`
	s := statustest.Burning()
	statustest.Change(s, alarm.Overheat, frame.Flue, alarm.Raised, 705, 700)
	o.Feed.Publish(s)
	w := get(served(o), "/")
	for header, want := range map[string]string{
		"Content-Security-Policy": "default-src 'none'",
		"X-Content-Type-Options":  "nosniff",
		"Referrer-Policy":         "same-origin", // with no-referrer our own forms would come from "null"
		"Cache-Control":           "no-store",
	} {
		if got := w.Header().Get(header); !strings.Contains(got, want) {
			t.Errorf("%s: %q, want %q", header, got, want)
		}
	}
	if strings.Contains(policy, "unsafe") {
		t.Errorf("the policy is %s", policy)
	}
	html := strings.NewReplacer("&lt;", "", "&#34;", "", "&gt;", "").Replace(w.Body.String())
	html = strings.ReplaceAll(html, "img src=x onerror=alert(1)", "")
	if found := inline.FindString(html); found != "" {
		t.Errorf("the page brings %q inline", found)
	}
	if strings.Contains(w.Body.String(), "<script>alert") || strings.Contains(w.Body.String(), "<img") {
		t.Error("a name is not escaped")
	}
	if found := outside.FindString(html); found != "" {
		t.Errorf("the page asks elsewhere: %q", found)
	}
	if n := w.Body.Len(); n > 60_000 {
		t.Errorf("the page has %d bytes", n)
	}
	for _, name := range []string{"page.css", "now.js", "icon.svg"} {
		if !strings.Contains(html, "/static/"+name+"?v=") {
			t.Errorf("the page does not ask for %s", name)
		}
		if got := get(served(o), "/static/"+name); got.Code != 200 || !strings.Contains(got.Header().Get("Cache-Control"), "immutable") {
			t.Errorf("GET %s: %d %v", name, got.Code, got.Header())
		}
	}
}

// TestLive reads a stream from a real server: the parts at once, the change within the
// next beats, and the end when the server ends.
func TestLive(t *testing.T) {
	o := options()
	o.Feed.Publish(statustest.Burning())
	s, err := Listen("127.0.0.1:0", o)
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	defer cancel()
	ended := make(chan error, 1)
	go func() { ended <- s.Run(ctx) }()
	resp, err := http.Get(s.URL() + "events")
	if err != nil {
		t.Fatal(err)
	}
	defer resp.Body.Close()
	if got := resp.Header.Get("Content-Type"); got != "text/event-stream" {
		t.Errorf("Content-Type %s", got)
	}
	lines := bufio.NewScanner(resp.Body)
	until := func(want string) {
		t.Helper()
		for lines.Scan() {
			if strings.Contains(lines.Text(), want) {
				return
			}
		}
		t.Fatalf("the stream ended before %q: %v", want, lines.Err())
	}
	until("retry: 3000")
	until("event: parts")
	until("No alarm.")
	until("event: beat")
	until("data: 20:15:00")
	next := statustest.Burning()
	statustest.Change(next, alarm.Spillage, frame.Count, alarm.Raised, -2, 0)
	o.Feed.Publish(next)
	until("data: <h1>Alarm: The draft has turned")

	began := time.Now()
	cancel()
	for lines.Scan() { // until the server ends it
	}
	if err := <-ended; err != nil {
		t.Error(err)
	}
	if took := time.Since(began); took > 3*shutdown {
		t.Errorf("the end took %v", took)
	}
}

func TestTooManyStreams(t *testing.T) {
	s, err := Listen("127.0.0.1:0", options())
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	defer cancel()
	ended := make(chan error, 1)
	go func() { ended <- s.Run(ctx) }()
	for n := 0; ; n++ {
		resp, err := http.Get(s.URL() + "events")
		if err != nil {
			t.Fatal(err)
		}
		defer resp.Body.Close()
		if resp.StatusCode == http.StatusOK && n < 100 {
			continue
		}
		if resp.StatusCode != http.StatusServiceUnavailable || resp.Header.Get("Retry-After") == "" || n < 50 {
			t.Errorf("stream %d: %d %v", n+1, resp.StatusCode, resp.Header)
		}
		break
	}
	cancel()
	if err := <-ended; err != nil {
		t.Error(err)
	}
}
