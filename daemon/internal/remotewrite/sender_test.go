package remotewrite

import (
	"cmp"
	"context"
	"fmt"
	"io"
	"maps"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	dto "github.com/prometheus/client_model/go"

	"fluewright/daemon/internal/history"
)

// receiver stores what it takes. answer decides; nil takes everything by version 1.0.
type receiver struct {
	*httptest.Server
	answer func(w http.ResponseWriter, r *http.Request, got []series) (store bool)

	mu     sync.Mutex
	stored map[string]map[int64]float64 // by series and time
	order  []int64                      // times of the flue as they came
	asked  []http.Header
}

func receive(t *testing.T, answer func(http.ResponseWriter, *http.Request, []series) bool) *receiver {
	r := &receiver{answer: answer, stored: map[string]map[int64]float64{}}
	r.Server = httptest.NewServer(http.HandlerFunc(r.serve))
	t.Cleanup(r.Close)
	return r
}

func (r *receiver) serve(w http.ResponseWriter, req *http.Request) {
	body, err := io.ReadAll(req.Body)
	if err != nil || req.Method != http.MethodPost {
		return // with 200, as any page does
	}
	got, err := decode(req.Header.Get("X-Prometheus-Remote-Write-Version"), body)
	r.mu.Lock()
	defer r.mu.Unlock()
	r.asked = append(r.asked, req.Header)
	if err != nil {
		http.Error(w, err.Error(), http.StatusBadRequest)
		return
	}
	if r.answer != nil && !r.answer(w, req, got) {
		return
	}
	for _, s := range got {
		key := name(s)
		if r.stored[key] == nil {
			r.stored[key] = map[int64]float64{}
		}
		for _, v := range s.samples {
			r.stored[key][v.ms] = v.value
			if strings.HasPrefix(key, "fluewright_temperature_celsius") {
				r.order = append(r.order, v.ms)
			}
		}
	}
	if r.answer == nil {
		w.WriteHeader(http.StatusNoContent)
	}
}

func name(s series) string {
	var b strings.Builder
	for _, l := range s.labels[1:] {
		fmt.Fprintf(&b, ",%s=%q", l.name, l.value)
	}
	return s.labels[0].value + "{" + strings.TrimPrefix(b.String(), ",") + "}"
}

func (r *receiver) of(key string) (all []sample) {
	r.mu.Lock()
	defer r.mu.Unlock()
	for ms, v := range r.stored[key] {
		all = append(all, sample{ms, v})
	}
	slices.SortFunc(all, func(a, b sample) int { return cmp.Compare(a.ms, b.ms) })
	return all
}

func (r *receiver) requests() []http.Header {
	r.mu.Lock()
	defer r.mu.Unlock()
	return slices.Clone(r.asked)
}

const flueSeries = `fluewright_temperature_celsius{channel="flue",site="cellar-7"}`

// minutes is a history of so many minutes, which end about now.
func minutes(t *testing.T, n int) (*past, time.Time) {
	lasts := time.Duration(n) * time.Minute
	start := time.Now().Add(-lasts - time.Minute).Truncate(time.Second)
	p := begin(t, t.TempDir(), start)
	p.ticks(0, lasts+time.Second)
	p.commit()
	return p, start
}

// each is what the flue's series holds then.
func each(start time.Time, n int) (all []sample) {
	for at := time.Duration(0); at < time.Duration(n)*time.Minute; at += time.Second {
		all = append(all, sample{start.Add(at).UnixMilli(), flueAt(at)})
	}
	return all
}

func drained(t *testing.T, s *Sender) {
	t.Helper()
	waitFor(t, func() bool {
		st := s.Stats()
		return st.Pending == 0 && st.Requests["taken"]+st.Requests["refused"] > 0
	})
}

// The answers of receivers, and what becomes of the samples.
func TestAnswers(t *testing.T) {
	tries := 0
	twice := func(status int, header ...string) func(http.ResponseWriter, *http.Request, []series) bool {
		tries = 0
		return func(w http.ResponseWriter, _ *http.Request, _ []series) bool {
			if tries++; tries > 1 {
				return true
			}
			for i := 0; i < len(header); i += 2 {
				w.Header().Set(header[i], header[i+1])
			}
			w.WriteHeader(status)
			return false
		}
	}
	written := func(w http.ResponseWriter, got []series) {
		n := 0
		for _, s := range got {
			n += len(s.samples)
		}
		w.Header().Set("X-Prometheus-Remote-Write-Samples-Written", fmt.Sprint(n))
	}
	version := func(r *http.Request) string { return r.Header.Get("X-Prometheus-Remote-Write-Version") }
	tests := map[string]struct {
		newer    bool
		answer   func() func(http.ResponseWriter, *http.Request, []series) bool
		missing  int // samples of the flue
		protocol string
	}{
		"takes all":          {},
		"is overloaded":      {answer: func() func(http.ResponseWriter, *http.Request, []series) bool { return twice(429, "Retry-After", "1") }},
		"is away":            {answer: func() func(http.ResponseWriter, *http.Request, []series) bool { return twice(503) }},
		"redirects":          {answer: func() func(http.ResponseWriter, *http.Request, []series) bool { return twice(302, "Location", "/") }},
		"lets nobody in yet": {answer: func() func(http.ResponseWriter, *http.Request, []series) bool { return twice(401) }},
		"takes 100 samples at once": {answer: func() func(http.ResponseWriter, *http.Request, []series) bool {
			return func(w http.ResponseWriter, _ *http.Request, got []series) bool {
				n := 0
				for _, s := range got {
					n += len(s.samples)
				}
				if n > 100 {
					w.WriteHeader(http.StatusRequestEntityTooLarge)
				}
				return n <= 100
			}
		}},
		"refuses one sample": {missing: 1, answer: func() func(http.ResponseWriter, *http.Request, []series) bool {
			return func(w http.ResponseWriter, _ *http.Request, got []series) bool {
				for _, s := range got {
					for _, v := range s.samples {
						if v.ms%60_000 == 30_000 && v.ms/60_000%3 == 1 {
							http.Error(w, "duplicate sample for timestamp", http.StatusBadRequest)
							return false
						}
					}
				}
				return true
			}
		}},
		"speaks 2.0 alone": {protocol: "2.0.0", answer: func() func(http.ResponseWriter, *http.Request, []series) bool {
			return func(w http.ResponseWriter, r *http.Request, got []series) bool {
				if version(r) != "2.0.0" {
					w.WriteHeader(http.StatusUnsupportedMediaType)
					return false
				}
				written(w, got)
				return true
			}
		}},
		"speaks 1.0 alone": {newer: true, protocol: "0.1.0", answer: func() func(http.ResponseWriter, *http.Request, []series) bool {
			return func(w http.ResponseWriter, r *http.Request, _ []series) bool {
				if version(r) != "0.1.0" {
					w.WriteHeader(http.StatusUnsupportedMediaType)
				}
				return version(r) == "0.1.0"
			}
		}},
		"reads 2.0 as an empty message": {newer: true, protocol: "0.1.0", answer: func() func(http.ResponseWriter, *http.Request, []series) bool {
			return func(_ http.ResponseWriter, r *http.Request, _ []series) bool { return version(r) == "0.1.0" }
		}},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			p, start := minutes(t, 3)
			var answer func(http.ResponseWriter, *http.Request, []series) bool
			if tt.answer != nil {
				answer = tt.answer()
			}
			r := receive(t, answer)
			o := destination(r.URL, p)
			o.Newer = tt.newer
			s, _ := run(t, o)
			drained(t, s)
			got, want := r.of(flueSeries), each(start, 3)
			if tt.missing == 0 {
				equal(t, got, want)
			} else if len(got) != len(want)-tt.missing {
				t.Errorf("%d samples of %d", len(got), len(want))
			}
			st := s.Stats()
			if lost := st.Dropped[refusedPart] > 0; lost != (tt.missing > 0) {
				t.Errorf("dropped %v", st.Dropped)
			}
			if tt.protocol != "" && st.Protocol != tt.protocol {
				t.Errorf("it speaks %s", st.Protocol)
			}
			if !slices.IsSorted(r.order) {
				t.Error("the samples did not come in their order")
			}
		})
	}
}

// With 2.0 a receiver says how many samples of a request it could take, and is not asked again.
func TestPartlyTaken(t *testing.T) {
	p, _ := minutes(t, 1)
	r := receive(t, func(w http.ResponseWriter, _ *http.Request, _ []series) bool {
		w.Header().Set("X-Prometheus-Remote-Write-Samples-Written", "7")
		w.WriteHeader(http.StatusBadRequest)
		return true
	})
	o := destination(r.URL, p)
	o.Newer, o.Every = true, time.Hour
	s, _ := run(t, o)
	drained(t, s)
	n := 0
	for _, of := range r.stored {
		n += len(of)
	}
	if st := s.Stats(); st.Dropped[refusedPart] != uint64(n-7) || len(r.requests()) != 1 {
		t.Errorf("%d requests, dropped %v of %d", len(r.requests()), st.Dropped, n)
	}
}

// A batch that breaks the receiver for ever is passed over when the receiver is well.
func TestWhatStays(t *testing.T) {
	for text, want := range map[string]verdict{
		"too old sample":                 refused,
		"out of order sample":            refused,
		"no space left on device":        later,
		"write failed; please try later": later,
	} {
		if a := read(http.StatusInternalServerError, http.Header{}, text, v1, time.Now()); a.verdict != want || a.broken != true {
			t.Errorf("500 %s is %+v", text, a)
		}
	}
}

func TestRetryAfter(t *testing.T) {
	now := time.Date(2026, 11, 26, 12, 0, 0, 0, time.UTC)
	for s, want := range map[string]time.Duration{
		"": 0, "0": 0, "17": 17 * time.Second, "86400": time.Hour, "-3": 0, "soon": 0, "99999999999999999999": 0,
		"Thu, 26 Nov 2026 12:00:30 GMT": 30 * time.Second, "Thu, 26 Nov 2026 11:00:00 GMT": 0, "Fri, 26 Nov 2027 11:00:00 GMT": time.Hour,
	} {
		if got := pauseOf(s, now); got != want {
			t.Errorf("%q is %v, want %v", s, got, want)
		}
	}
}

// What is sent says who sends, and proves it.
func TestWhoAsks(t *testing.T) {
	dir := t.TempDir()
	secret := filepath.Join(dir, "secret")
	if err := os.WriteFile(secret, []byte("tell nobody\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	for name, tt := range map[string]struct {
		set  func(*Options)
		want string
	}{
		"nobody":   {func(*Options) {}, ""},
		"password": {func(o *Options) { o.User, o.PasswordFile = "furnace", secret }, "Basic ZnVybmFjZTp0ZWxsIG5vYm9keQ=="},
		"token":    {func(o *Options) { o.TokenFile, o.Tenant = secret, "t1" }, "Bearer tell nobody"},
	} {
		t.Run(name, func(t *testing.T) {
			p, _ := minutes(t, 1)
			r := receive(t, nil)
			o := destination(r.URL, p)
			tt.set(&o)
			s, _ := run(t, o)
			drained(t, s)
			h := r.requests()[0]
			if got := h.Get("Authorization"); got != tt.want || h.Get("User-Agent") != "fluewright/v0.1.0" || h.Get("X-Scope-OrgID") != o.Tenant {
				t.Errorf("%v", h)
			}
		})
	}
}

// No sample has a time before the clock is set; then all of them come, with true times.
func TestNothingBeforeTheClockIsSet(t *testing.T) {
	start := time.Now().Add(-10 * time.Minute).Truncate(time.Second)
	p := begin(t, t.TempDir(), time.Unix(0, 0))
	p.trusted = false
	p.ticks(0, 2*time.Minute)
	p.commit()
	r := receive(t, nil)
	s, _ := run(t, destination(r.URL, p))
	time.Sleep(time.Second)
	if n := len(r.requests()); n > 0 {
		t.Fatalf("%d requests before the clock is set", n)
	}
	if st := s.Stats(); st.Pending < 119 || !st.Oldest.IsZero() {
		t.Errorf("%+v", st)
	}
	p.trusted, p.wall = true, start
	p.ticks(2*time.Minute, 3*time.Minute+time.Second)
	p.commit()
	waitFor(t, func() bool { return len(r.of(flueSeries)) == 180 })
	equal(t, r.of(flueSeries), each(start, 3))
}

// What is older than the receiver is to get is passed over and counted.
func TestTooOld(t *testing.T) {
	p, _ := minutes(t, 5)
	r := receive(t, nil)
	o := destination(r.URL, p)
	o.BackFill = 3 * time.Minute
	s, _ := run(t, o)
	drained(t, s)
	if n := len(r.of(flueSeries)); n < 115 || n > 125 {
		t.Errorf("%d samples", n)
	}
	if st := s.Stats(); st.Dropped[tooOld] < 3*175 {
		t.Errorf("%v", st.Dropped)
	}
}

// What is in no row is sent as it is, with the same names, and ended when it is gone.
func TestLive(t *testing.T) {
	p, _ := minutes(t, 1)
	r := receive(t, nil)
	o := destination(r.URL, p)
	o.Every = time.Hour
	value, alarm := 1.0, "fluewright_alarm_active"
	there := true
	var mu sync.Mutex
	o.Live = func() ([]*dto.MetricFamily, error) {
		mu.Lock()
		defer mu.Unlock()
		other, skipped := "go_goroutines", "fluewright_draft_pascals"
		channel, flue, empty, none := "channel", "flue", "other", ""
		f := func(name *string) *dto.MetricFamily {
			return &dto.MetricFamily{Name: name, Metric: []*dto.Metric{{
				Gauge: &dto.Gauge{Value: &value},
				Label: []*dto.LabelPair{{Name: &channel, Value: &flue}, {Name: &empty, Value: &none}},
			}}}
		}
		if !there {
			return []*dto.MetricFamily{f(&other)}, nil
		}
		return []*dto.MetricFamily{f(&other), f(&skipped), f(&alarm)}, nil
	}
	s, _ := run(t, o)
	key := `fluewright_alarm_active{channel="flue",site="cellar-7"}`
	waitFor(t, func() bool { return len(r.of(key)) == 1 })
	mu.Lock()
	there = false
	mu.Unlock()
	s.Wake()
	waitFor(t, func() bool { return len(r.of(key)) == 2 })
	if got := r.of(key); got[0].value != 1 || got[1].value == got[1].value {
		t.Errorf("%v", got)
	}
	if _, ok := r.stored["go_goroutines{channel=\"flue\",site=\"cellar-7\"}"]; ok {
		t.Errorf("sent %v", slices.Collect(maps.Keys(r.stored)))
	}
}

// Alarms go first where the receiver takes the readings all the same, and behind them where
// it might not any more.
func TestWhatGoesFirst(t *testing.T) {
	for name, tt := range map[string]struct {
		away time.Duration
		want string
	}{
		"away for minutes": {5 * time.Minute, "fluewright_alarm_active"},
		"away for hours":   {2 * time.Hour, "fluewright_temperature_celsius"},
	} {
		t.Run(name, func(t *testing.T) {
			p, _ := minutes(t, 125)
			var all []history.Followed
			for at := (history.Position{}); ; at = all[len(all)-1].Position {
				next, _, err := p.Follow(context.Background(), at)
				if err != nil {
					t.Fatal(err)
				}
				if len(next) == 0 {
					break
				}
				all = append(all, next...)
			}
			from := all[len(all)-int(tt.away/time.Second)]
			var mu sync.Mutex
			var first []string
			r := receive(t, func(_ http.ResponseWriter, _ *http.Request, got []series) bool {
				mu.Lock()
				defer mu.Unlock()
				first = append(first, got[0].labels[0].value)
				return true
			})
			o := destination(r.URL, p)
			o.Dir = t.TempDir()
			if err := (cursor{from.Position, from.At.UnixMilli()}).save(o.Dir, o.Name); err != nil {
				t.Fatal(err)
			}
			alarm, value := "fluewright_alarm_active", 1.0
			o.Live = func() ([]*dto.MetricFamily, error) {
				return []*dto.MetricFamily{{Name: &alarm, Metric: []*dto.Metric{{Gauge: &dto.Gauge{Value: &value}}}}}, nil
			}
			run(t, o)
			waitFor(t, func() bool { return len(r.of(`fluewright_alarm_active{site="cellar-7"}`)) > 0 })
			mu.Lock()
			defer mu.Unlock()
			if first[0] != tt.want {
				t.Errorf("first came %s", first[0])
			}
		})
	}
}

// What has not changed is said again before the receiver would take it for gone, and not
// each time.
func TestLiveRepeats(t *testing.T) {
	l := newLive("cellar-7", time.Minute)
	name, value := "fluewright_alarm_active", 0.0
	families := []*dto.MetricFamily{{Name: &name, Metric: []*dto.Metric{{Gauge: &dto.Gauge{Value: &value}}}}}
	var said []int64
	for at := int64(0); at <= 12; at++ {
		if at == 2 {
			value = 1
		}
		if all := l.series(families, at*60_000); len(all) > 0 {
			said = append(said, at)
			l.taken(all)
		}
	}
	if !slices.Equal(said, []int64{0, 2, 6, 10}) {
		t.Errorf("said at minutes %v", said)
	}
	for i, want := range []int{1, 0} {
		all := l.series(nil, 13*60_000)
		if len(all) != want {
			t.Errorf("%d series are ended at look %d after they are gone", len(all), i)
		}
		l.taken(all)
	}
}

// A cursor that is damaged begins anew, and a good one is read back as it was.
func TestKept(t *testing.T) {
	dir := t.TempDir()
	want := cursor{history.Position{Run: 3, Identity: "x", MS: 17_000}, 5}
	if err := want.save(dir, "desk"); err != nil {
		t.Fatal(err)
	}
	if got, err := load(dir, "desk"); err != nil || got != want {
		t.Errorf("%+v %v", got, err)
	}
	for _, bad := range []string{"", "{", `{"run":-1}`, `{"ms":"x"}`} {
		if err := os.WriteFile(filepath.Join(dir, fileName("desk")), []byte(bad), 0o600); err != nil {
			t.Fatal(err)
		}
		if got, err := load(dir, "desk"); err == nil || got != (cursor{}) {
			t.Errorf("%q is %+v", bad, got)
		}
	}
	if got, err := load(dir, "other"); err != nil || got != (cursor{}) {
		t.Errorf("%+v %v", got, err)
	}
}

// Whatever is in a cursor's file, it is refused or can be followed.
func FuzzCursor(f *testing.F) {
	f.Add([]byte(`{"run":3,"identity":"x","ms":17000,"wall_ms":5}`))
	f.Add([]byte(`{"run":3e9,"ms":-1,"wall_ms":1e300}`))
	l := newLayout("cellar-7", fitted, time.Second)
	f.Fuzz(func(t *testing.T, data []byte) {
		c, err := decodeCursor(data)
		if err != nil {
			if c != (cursor{}) {
				t.Errorf("refused and %+v", c)
			}
			return
		}
		row := history.Followed{Position: history.Position{Run: c.Run, MS: c.MS + 1000}}
		row.At, row.Sure = time.UnixMilli(1_800_000_000_000), true
		b := &batch{next: c}
		l.take(b, []history.Followed{row}, 0)
		for i, m := range b.moments {
			if m.ms < 0 || i > 0 && m.ms < b.moments[i-1].ms {
				t.Errorf("%+v: %+v", c, b.moments)
			}
		}
	})
}

// A receiver that does not answer holds nobody up at the end.
func TestEndWhileNobodyAnswers(t *testing.T) {
	p, _ := minutes(t, 1)
	hang := make(chan struct{})
	r := receive(t, nil)
	r.answer = func(http.ResponseWriter, *http.Request, []series) bool { <-hang; return false }
	defer close(hang)
	s, err := New(destination(r.URL, p))
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithTimeout(context.Background(), 300*time.Millisecond)
	defer cancel()
	began := time.Now()
	if err := s.Run(ctx); err != nil || time.Since(began) > 5*time.Second {
		t.Errorf("%v after %v", err, time.Since(began))
	}
}
