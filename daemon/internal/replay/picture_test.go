package replay_test

import (
	"bytes"
	"fmt"
	"io"
	"strings"
	"testing"
	"time"

	"fluewright/analysis/alarm"
	"fluewright/analysis/burn"
	"fluewright/analysis/frame"
	"fluewright/daemon/internal/config"
	"fluewright/daemon/internal/panel"
	"fluewright/daemon/internal/replay"
	"fluewright/daemon/internal/units"
)

// sketched replays a log into a picture.
func sketched(t *testing.T, log string) panel.Picture {
	t.Helper()
	s := config.Default().Analysis
	s.Limits[frame.Flue] = 500
	sketch := replay.NewSketch(s, 800)
	if err := replay.Run(strings.NewReader(log), io.Discard, s, units.SI, sketch.Watch); err != nil {
		t.Fatal(err)
	}
	p := sketch.Picture("test", units.SI, nil)
	if err := p.WriteSVG(io.Discard); err != nil {
		t.Fatal(err)
	}
	return p
}

// rising is a log each second of a flue that rises evenly from 100 to 600 °C, and stays.
func rising(seconds int) string {
	var log bytes.Buffer
	log.WriteString("time,flue_celsius,draft_pascals\n")
	at := time.Date(2026, 1, 31, 21, 0, 0, 0, time.UTC)
	for i := range seconds {
		flue := 100 + 500*min(1, float64(i)/1200)
		fmt.Fprintf(&log, "%s,%.2f,12\n", at.Add(time.Duration(i)*time.Second).Format(time.RFC3339), flue)
	}
	return log.String()
}

func TestASketchShowsAlarmsWithTheirForecasts(t *testing.T) {
	p := sketched(t, rising(1800))
	var names []string
	for _, m := range p.Marks {
		if m.Kind == panel.Alarm {
			names = append(names, m.Name)
			if m.Name == "overheat flue" && (!m.To.IsZero() || m.Priority != alarm.High) {
				t.Errorf("the overheat is %+v, want high and standing", m)
			}
		}
	}
	if got := strings.Join(names, ", "); !strings.Contains(got, "runaway flue") || !strings.Contains(got, "overheat flue") {
		t.Fatalf("alarms: %s, want runaway and overheat of the flue", got)
	}
	fire := p.Panels[0]
	if len(fire.Traces) != 1 || fire.Traces[0].Name != "flue" || len(fire.Limits) != 1 || fire.Limits[0].Value != 500 {
		t.Fatalf("the first panel is %q with %d traces", fire.Title, len(fire.Traces))
	}
	if len(fire.Traces[0].Forecasts) == 0 {
		t.Fatal("no forecast is drawn for the runaway")
	}
	f := fire.Traces[0].Forecasts[0]
	first, last := f[0], f[len(f)-1]
	if last.Time.Sub(first.Time) != 15*time.Minute || !(last.Value > 500) || !(first.Value < 500) {
		t.Errorf("the forecast goes from %g to %g °C in %v: want over the limit in 15 min", first.Value, last.Value, last.Time.Sub(first.Time))
	}
	for i := 1; i < len(f); i++ {
		if f[i].Value < f[i-1].Value {
			t.Errorf("the forecast of a rise falls at %v", f[i].Time)
		}
	}
	n := 0
	for _, c := range fire.Traces[0].Columns {
		n += c.Count
	}
	if n != 1800 {
		t.Errorf("%d readings are drawn, want 1800", n)
	}
	if p.Panels[1].Band == nil || p.Panels[1].Quantity != panel.Pressure {
		t.Error("the draft has no band")
	}
}

// Where nothing was read, or not by the flue, nobody knows how the fire burnt.
func TestASketchLeavesWhatNobodySawBlank(t *testing.T) {
	for name, missing := range map[string]string{"no row": "", "no flue": ",12\n"} {
		t.Run(name, func(t *testing.T) {
			var log bytes.Buffer
			log.WriteString("time,flue_celsius,draft_pascals\n")
			for i := range 2400 {
				switch {
				case i < 600 || i >= 1800:
					fmt.Fprintf(&log, "%d,300,12\n", i)
				case missing != "":
					fmt.Fprintf(&log, "%d,%s", i, missing)
				}
			}
			blank(t, sketched(t, log.String()))
		})
	}
}

// blank wants no phase between the tenth and the thirtieth minute, and some outside.
func blank(t *testing.T, p panel.Picture) {
	t.Helper()
	pause := [2]time.Time{p.From.Add(600 * time.Second), p.From.Add(1799 * time.Second)}
	known := false
	for _, b := range p.Bands {
		known = known || b.Phase != burn.Unknown
		if b.From.Before(pause[1]) && b.To.After(pause[0]) {
			t.Errorf("%v is drawn from %v to %v, over the pause", b.Phase, b.From, b.To)
		}
	}
	if !known {
		t.Error("no phase at all")
	}
}

func TestASketchOfOneRowIsAPicture(t *testing.T) {
	if p := sketched(t, "time,room_celsius\n2026-01-31T21:00:00-06:00,20\n"); len(p.Panels) != 1 {
		t.Errorf("%d panels, want the room's", len(p.Panels))
	}
}
