package remotewrite

import (
	"context"
	"fmt"
	"log/slog"
	"math"
	"testing"
	"time"

	dto "github.com/prometheus/client_model/go"

	"fluewright/analysis/burn"
	"fluewright/analysis/frame"
	"fluewright/daemon/internal/history"
	"fluewright/daemon/internal/status"
)

// si is the plainest units there are.
type si struct{}

func (si) Temperature(c float64) string { return fmt.Sprintf("%.0f °C", c) }
func (si) Pressure(p float64) string    { return fmt.Sprintf("%.1f Pa", p) }

var fitted = [frame.Count]bool{frame.Flue: true, frame.Draft: true, frame.Ambient: true}

// past is a history of a site with a flue, a draft and the air's pressure. Each second is
// another reading; every tenth minute the draft is lost.
type past struct {
	*history.Store
	t       testing.TB
	wall    time.Time // at the zero of the frames' clock
	trusted bool
	end     func()
}

func begin(t testing.TB, dir string, wall time.Time) *past {
	p := &past{t: t, wall: wall, trusted: true}
	p.Store = history.New(history.Options{Dir: dir, Units: si{}, Log: slog.New(slog.DiscardHandler)})
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan struct{})
	go func() { defer close(done); _ = p.Run(ctx) }()
	ended := false
	p.end = func() {
		if ended {
			return
		}
		ended = true
		cancel()
		<-done
		ctx, cancel := context.WithTimeout(context.Background(), 30*time.Second)
		defer cancel()
		if err := p.Close(ctx); err != nil {
			t.Error(err)
		}
	}
	t.Cleanup(p.end)
	return p
}

func (p *past) ticks(from, to time.Duration) {
	for at := from; at < to; at += time.Second {
		p.tick(at)
	}
}

func (p *past) tick(at time.Duration) {
	st := &status.Status{Wall: p.wall.Add(at), ClockTrusted: p.trusted}
	st.Frame.At = at
	st.Assessment.Phase = burn.CleanBurn
	st.Frame.Inputs[frame.Flue] = frame.Input{Value: flueAt(at), Quality: frame.Good}
	st.Frame.Inputs[frame.Ambient] = frame.Input{Value: 98_000, Quality: frame.Good}
	st.Frame.Inputs[frame.Draft] = frame.Input{Quality: frame.Faulty}
	if draftThere(at) {
		st.Frame.Inputs[frame.Draft] = frame.Input{Value: 12, Quality: frame.Good}
	}
	p.Offer(st)
}

func flueAt(at time.Duration) float64 { return 250 + 0.125*math.Floor(800*math.Sin(at.Seconds()/600)) }

func draftThere(at time.Duration) bool { return at/time.Minute%10 != 9 }

func (p *past) commit() {
	p.t.Helper()
	ctx, cancel := context.WithTimeout(context.Background(), 30*time.Second)
	defer cancel()
	if err := p.Commit(ctx); err != nil {
		p.t.Fatal(err)
	}
}

func destination(url string, p *past) Options {
	return Options{
		Name: "desk", URL: url, Interval: time.Second, Every: 200 * time.Millisecond, BackFill: 72 * time.Hour,
		Site: "cellar-7", Software: "v0.1.0", Fitted: fitted, Follow: p.Follow,
		Live:    func() ([]*dto.MetricFamily, error) { return nil, nil },
		Trusted: func() bool { return true },
		Log:     slog.New(slog.DiscardHandler),
	}
}

// run runs a sender until the returned function is called.
func run(t testing.TB, o Options) (*Sender, func()) {
	t.Helper()
	s, err := New(o)
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan struct{})
	go func() { defer close(done); _ = s.Run(ctx) }()
	stop := func() { cancel(); <-done }
	t.Cleanup(stop)
	return s, stop
}
