package commissionpage

import (
	"context"
	"fmt"
	"net/http"
	"sync"
	"time"

	"fluewright/daemon/internal/command"
)

// Test sends a test alarm to everybody and waits for what comes back, some minutes at most.
type Test func(context.Context) ([]command.Tried, error)

const (
	// mostTests may be sent within testsWithin: each makes a telephone ring.
	mostTests   = 5
	testsWithin = time.Hour
	testTakes   = 4 * time.Minute
)

// tester sends one test at a time and keeps what came of the latest.
type tester struct {
	send Test

	mu    sync.Mutex
	sent  []time.Time
	under bool
	tried []command.Tried
	err   error
}

// testView is how a test stands.
type testView struct {
	Possible, Under bool
	Trouble         string
	Lines           []line
}

func (t *tester) view() *testView {
	t.mu.Lock()
	defer t.mu.Unlock()
	v := &testView{Possible: t.send != nil, Under: t.under}
	if t.err != nil {
		v.Trouble = "The test alarm could not be sent: " + t.err.Error() + "."
	}
	for _, one := range t.tried {
		l := line{Class: "good", Text: fmt.Sprintf("%s by %s: ", one.Person, one.Transport)}
		switch {
		case !one.Sent:
			l.Class, l.Sign, l.Text = "bad", "FAIL: ", l.Text+"not sent: "+one.Error
		case one.Acknowledged:
			l.Text += fmt.Sprintf("sent, and acknowledged after %.0f s", one.Seconds)
		case one.Asked:
			l.Class, l.Sign, l.Text = "caution", "CAUTION: ", l.Text+"sent, and not acknowledged in time"
		default:
			l.Class, l.Text = "", l.Text+"sent; this way brings no answer back, so look at the telephone"
		}
		v.Lines = append(v.Lines, l)
	}
	return v
}

// waits reports whether a test is on its way.
func (t *tester) waits() bool {
	t.mu.Lock()
	defer t.mu.Unlock()
	return t.under
}

// start sends a test unless one is under way or there were too many; the words say why not.
func (t *tester) start(ctx context.Context, now time.Time) (no string) {
	t.mu.Lock()
	defer t.mu.Unlock()
	for len(t.sent) > 0 && now.Sub(t.sent[0]) >= testsWithin {
		t.sent = t.sent[1:]
	}
	switch {
	case t.send == nil:
		return "this monitor tells nobody of alarms: its configuration has no [[notify.person]]"
	case t.under:
		return "" // it is on its way
	case len(t.sent) >= mostTests:
		return fmt.Sprintf("there were %d tests within the hour: again in %d min", mostTests, int(t.sent[0].Add(testsWithin).Sub(now).Minutes())+1)
	}
	t.sent, t.under, t.tried, t.err = append(t.sent, now), true, nil, nil
	go func() { // whoever asked need not wait; it ends by itself
		ctx, cancel := context.WithTimeout(context.WithoutCancel(ctx), testTakes)
		defer cancel()
		tried, err := t.send(ctx)
		t.mu.Lock()
		defer t.mu.Unlock()
		t.under, t.tried, t.err = false, tried, err
	}()
	return ""
}

// sendTest sends a test alarm.
func (p *Pages) sendTest(w http.ResponseWriter, r *http.Request) {
	if !posted(w, r) {
		return
	}
	if no := p.test.start(r.Context(), time.Now()); no != "" {
		p.show(w, r, http.StatusUnprocessableEntity, refused{words: "Not taken: " + no + "."})
		return
	}
	back(w, r, "/commissioning")
}
