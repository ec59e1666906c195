package now

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"net/url"
	"slices"
	"strings"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"fluewright/analysis/alarm"
	"fluewright/analysis/frame"
	"fluewright/daemon/internal/access"
	"fluewright/daemon/internal/command"
	"fluewright/daemon/internal/status"
	"fluewright/daemon/internal/status/statustest"
	"fluewright/daemon/internal/units"
	"fluewright/daemon/internal/web/layout"
)

// loop stands in for the loop: it takes what it is told to at the next tick.
type loop struct {
	feed  *status.Feed
	tick  sync.Mutex // what is taken at one tick comes one after the other
	taken []string
	err   error
}

func (l *loop) Acknowledge(_ context.Context, by string, k alarm.Key, occurrence uint32) error {
	if l.err != nil {
		return l.err
	}
	l.taken = append(l.taken, fmt.Sprintf("%s %s %d", by, k, occurrence))
	go func() {
		time.Sleep(time.Second)
		l.tick.Lock()
		defer l.tick.Unlock()
		next := statustest.After(l.feed.Latest(), time.Second)
		for i := range next.Assessment.Alarms {
			if a := &next.Assessment.Alarms[i]; a.Key == k {
				a.Acknowledged, a.State = true, alarm.Acknowledged
			}
		}
		l.feed.Publish(next)
	}()
	return nil
}

func (l *loop) Taker(alarm.Key, uint32) (string, time.Time, bool) { return "", time.Time{}, false }

func page(t *testing.T, l *loop) *Page {
	t.Helper()
	shell, err := layout.New(layout.Options{Site: "cellar-7", Log: slog.New(slog.DiscardHandler), Files: []fs.FS{Assets}})
	if err != nil {
		t.Fatal(err)
	}
	s := statustest.Burning()
	statustest.Change(s, alarm.Overheat, frame.Flue, alarm.Raised, 705, 700)
	statustest.Change(s, alarm.Spillage, frame.Count, alarm.Raised, -2, 0)
	l.feed = status.NewFeed()
	l.feed.Publish(s)
	return New(Options{Shell: shell, Feed: l.feed, Verdict: statustest.Site, Units: units.US, Actions: l, StaleAfter: time.Minute, Log: slog.New(slog.DiscardHandler)})
}

func send(p *Page, form url.Values) *httptest.ResponseRecorder {
	r := httptest.NewRequest("POST", "/alarms/acknowledge", strings.NewReader(form.Encode()))
	r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	w := httptest.NewRecorder()
	p.acknowledge(w, r.WithContext(access.With(r.Context(), access.Person{Name: "Ann", Role: access.Owner})))
	return w
}

func form(back string, all ...string) url.Values {
	f := url.Values{"back": {back}}
	for i := 0; i < len(all); i += 3 {
		f.Add("alarm", all[i])
		f.Add("channel", all[i+1])
		f.Add("occurrence", all[i+2])
	}
	return f
}

// What a form names is taken, and the page that comes then shows it already.
func TestATapTakesWhatTheFormNames(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		l := &loop{}
		p := page(t, l)
		began := time.Now()
		w := send(p, form("/alarms", "overheat", "flue", "1", "spillage", "", "1"))
		if w.Code != http.StatusSeeOther || w.Header().Get("Location") != "/alarms" {
			t.Errorf("answered by %d to %q", w.Code, w.Header().Get("Location"))
		}
		if want := []string{"Ann overheat/flue 1", "Ann spillage 1"}; !slices.Equal(l.taken, want) {
			t.Errorf("took %q, want %q", l.taken, want)
		}
		if took := time.Since(began); took != time.Second {
			t.Errorf("answered after %v, want with the tick that shows it", took)
		}
		parts, _, err := p.fragment()
		if err != nil || strings.Contains(string(parts), "<button") || !strings.Contains(string(parts), "Acknowledged.") {
			t.Errorf("%v: the page asks again:\n%s", err, parts)
		}
		time.Sleep(time.Second) // the other tick
	})
}

func TestAFormThatIsNotTaken(t *testing.T) {
	for name, tt := range map[string]struct {
		form url.Values
		err  error
		code int
		says string
	}{
		"raised anew":         {form("/", "overheat", "flue", "1"), command.Refuse(command.Stale, "x"), 409, "raised anew"},
		"not of this site":    {form("/", "overheat", "flue", "1"), command.Refuse(command.Nothing, "this site has no alarm overheat/flue"), 409, "this site has no alarm"},
		"the loop is stuck":   {form("/", "overheat", "flue", "1"), context.DeadlineExceeded, 503, "did not answer in time"},
		"something else":      {form("/", "overheat", "flue", "1"), errors.New("x"), 503, "try again"},
		"nothing":             {url.Values{}, nil, 400, "Load the page anew"},
		"no such alarm":       {form("/", "<script>", "", "1"), nil, 400, "Load the page anew"},
		"no such channel":     {form("/", "overheat", "attic", "1"), nil, 400, "Load the page anew"},
		"no number":           {form("/", "overheat", "flue", "-1"), nil, 400, "Load the page anew"},
		"a number too large":  {form("/", "overheat", "flue", "4294967296"), nil, 400, "Load the page anew"},
		"back to elsewhere":   {form("//evil.example", "overheat", "flue", "1"), nil, 400, "Load the page anew"},
		"a channel too few":   {url.Values{"alarm": {"overheat", "spillage"}, "channel": {"flue"}, "occurrence": {"1", "1"}}, nil, 400, "Load the page anew"},
		"more than there are": {form("/", slices.Repeat([]string{"overheat", "flue", "1"}, mostTaken+1)...), nil, 400, "Load the page anew"},
	} {
		t.Run(name, func(t *testing.T) {
			l := &loop{err: tt.err}
			w := send(page(t, l), tt.form)
			if body := w.Body.String(); w.Code != tt.code || !strings.Contains(body, tt.says) || !strings.Contains(body, "Not acknowledged") {
				t.Errorf("answered by %d, want %d and %q:\n%s", w.Code, tt.code, tt.says, body)
			}
			if len(l.taken) > 0 {
				t.Errorf("took %q", l.taken)
			}
		})
	}
}
