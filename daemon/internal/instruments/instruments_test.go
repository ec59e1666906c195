package instruments_test

import (
	"context"
	"encoding/json"
	"iter"
	"math"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"fluewright/analysis/frame"
	"fluewright/daemon/internal/history"
	"fluewright/daemon/internal/instruments"
	"fluewright/daemon/internal/status/statustest"
	"fluewright/sensors"
)

var unknown = func() (v [frame.Count]float64) {
	for c := range v {
		v[c] = math.NaN()
	}
	return v
}()

func TestAChipThatIsLost(t *testing.T) {
	s := statustest.Burning()
	statustest.Lose(s, frame.Flue, sensors.OpenCircuit)
	s.Sensors[0].LastGood = s.Wall.Add(-90 * time.Second)
	s.Sensors[0].Fault.Detail = "SR 0x01"
	scatter := unknown
	scatter[frame.Draft] = 0.4
	r := instruments.Of(s, scatter, 0)
	flue, draft := r.Instruments[0], r.Instruments[1]
	if flue.Up || *flue.Age != 90 || flue.Fault.Code != "open-circuit" || flue.Fault.Part != "wiring" || flue.Fault.Hint == "" || flue.Fault.Detail != "SR 0x01" {
		t.Errorf("%+v %+v", flue, flue.Fault)
	}
	if f := flue.Faults; len(f) != 2 || f[0].Code != "open-circuit" || f[0].Count != 8 || f[1].Title != "the chip does not answer" {
		t.Errorf("%+v", f)
	}
	if got := flue.Readings[0]; got.Value != nil || got.Quality != "fault" || got.Why != "thermocouple open" || got.Scatter != nil {
		t.Errorf("a lost reading shows %+v", got)
	}
	if got := draft.Readings[0]; *got.Value != 12.4567 || got.Quality != "good" || got.Unit != "pascals" || *got.Scatter != 0.4 || draft.Address != "0x25" {
		t.Errorf("%+v", got)
	}
	if b, err := json.Marshal(r); err != nil || !strings.Contains(string(b), `"value":null`) {
		t.Errorf("%s %v", b, err)
	}
}

// A loop that stands still leaves chips that were up for ever.
func TestSilence(t *testing.T) {
	r := instruments.Of(statustest.Burning(), unknown, 20*time.Second)
	for _, in := range r.Instruments {
		if in.Up || *in.Age != 20 || in.Readings[0].Value != nil || in.Readings[0].Quality != "stale" {
			t.Errorf("after 20 s of silence: %+v", in)
		}
	}
}

type rows []history.Row

func (r rows) Rows(context.Context, time.Time, time.Time) iter.Seq2[history.Row, error] {
	return func(yield func(history.Row, error) bool) {
		for i := range r {
			if !yield(r[i], nil) {
				return
			}
		}
	}
}

func TestScatter(t *testing.T) {
	random := rand.New(rand.NewPCG(1, 2))
	var all rows
	for i := range 300 {
		row := history.Row{Values: unknown}
		row.Values[frame.Flue] = 200 + float64(i) + 2*random.NormFloat64() // a steep ramp
		row.Values[frame.Draft] = 12 + 0.5*random.NormFloat64()
		if i%50 == 0 {
			row.Values[frame.Draft] = -90 // spikes
		}
		if i < 20 {
			row.Values[frame.Room] = 20
		}
		all = append(all, row)
	}
	got, err := instruments.Scatter(t.Context(), all, time.Now())
	if err != nil {
		t.Fatal(err)
	}
	if v := got[frame.Flue]; math.Abs(v-2) > 0.4 {
		t.Errorf("the flue scatters by %g K, want 2", v)
	}
	if v := got[frame.Draft]; math.Abs(v-0.5) > 0.1 {
		t.Errorf("the draft scatters by %g Pa, want 0.5", v)
	}
	if !math.IsNaN(got[frame.Room]) || !math.IsNaN(got[frame.Plenum]) {
		t.Errorf("of too few readings: %g, of none: %g", got[frame.Room], got[frame.Plenum])
	}
}
