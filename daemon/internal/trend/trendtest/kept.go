package trendtest

import (
	"context"
	"errors"
	"log/slog"
	"testing"
	"time"

	"fluewright/analysis"
	"fluewright/analysis/alarm"
	"fluewright/analysis/burn"
	"fluewright/analysis/frame"
	"fluewright/daemon/internal/history"
	"fluewright/daemon/internal/status"
	"fluewright/daemon/internal/units"
)

// Kept is a history that is being kept, of what a test says that happened.
type Kept struct {
	*history.Store
	t     testing.TB
	begin time.Time
	at    time.Duration
	count map[alarm.Key]uint32
}

// Keep begins one in dir. It ends with the test.
func Keep(t testing.TB, dir string, begin time.Time) *Kept {
	t.Helper()
	k := &Kept{t: t, begin: begin, count: map[alarm.Key]uint32{}}
	k.Store = history.New(history.Options{Dir: dir, Software: "1.2.3", Configuration: "[site]\n", Units: units.SI, Log: slog.New(slog.DiscardHandler)})
	ctx, cancel := context.WithCancel(context.Background())
	ended := make(chan error, 1)
	go func() { ended <- k.Run(ctx) }()
	t.Cleanup(func() {
		cancel()
		if err := errors.Join(<-ended, k.Close(context.Background())); err != nil {
			t.Error(err)
		}
	})
	k.At(0)
	k.Settle()
	return k
}

// Settle waits until everything is in the file.
func (k *Kept) Settle() {
	k.t.Helper()
	if err := k.Commit(context.Background()); err != nil {
		k.t.Fatal(err)
	}
}

// At offers a tick, d after the beginning, at which events happen; d does not go back.
func (k *Kept) At(d time.Duration, events ...analysis.Event) {
	s := &status.Status{Wall: k.begin.Add(d), ClockTrusted: true}
	s.Frame.At, k.at = d, d
	s.Frame.Inputs[frame.Flue] = frame.Input{Value: 220, Quality: frame.Good}
	for i := range events {
		events[i].At = d
	}
	s.Assessment = analysis.Assessment{At: d, Phase: burn.CleanBurn, Events: events}
	k.Offer(s)
}

// Alarm is a change of an alarm; Channel is frame.Count where it has none. A raising counts
// one more occurrence.
func (k *Kept) Alarm(n alarm.Name, c frame.Channel, change alarm.Change) analysis.Event {
	key := alarm.Key{Name: n, Channel: c}
	d, _ := alarm.Declared(n)
	states := map[alarm.Change]alarm.State{
		alarm.WasRaised: alarm.Raised, alarm.WasAcknowledged: alarm.Acknowledged, alarm.WasUpdated: alarm.Raised,
		alarm.WasCleared: alarm.Normal, alarm.WasSuppressed: alarm.Suppressed,
	}
	if change == alarm.WasRaised {
		k.count[key]++
	}
	return analysis.Event{Kind: analysis.AlarmChanged, Change: change, Alarm: alarm.Status{
		Key: key, Priority: d.Priority, State: states[change], Occurrence: k.count[key], Value: 555, Limit: 538,
	}}
}

// Burn is the end of a burn that lasted d and ends with the tick.
func (k *Kept) Burn(end, d time.Duration) analysis.Event {
	b := burn.Summary{Kind: burn.ColdStart, Start: end - d, End: end, PeakFlue: 251, PeakChamber: 700, MeanDraft: 12.5, Loads: 1, Doors: 2}
	b.Draft.Least, b.Draft.Most, b.Draft.Below, b.Draft.Within, b.Draft.Above = 3, 19, 4*time.Minute, d-10*time.Minute, 6*time.Minute
	b.In[burn.Lighting], b.In[burn.WarmUp], b.In[burn.CleanBurn], b.In[burn.Coals] = d/8, d/8, d/2, d/4
	b.Creosote.Water, b.Creosote.Tar, b.Delivered.Heat = 7200, 3600, 9e7
	return analysis.Event{Kind: analysis.BurnEnded, Burn: b}
}
