package app

import (
	"bytes"
	"log/slog"
	"strings"
	"testing"
	"time"

	"fluewright/daemon/internal/status"
	"fluewright/daemon/internal/units"
	"fluewright/sensors"
)

// TestALooseWire: however often a sensor comes and goes, the journal has a few lines in ten
// minutes, says how many it left out, and says in the end how the sensor is.
func TestALooseWire(t *testing.T) {
	broken := &sensors.Fault{Code: sensors.OpenCircuit}
	tests := map[string]struct {
		fault func(second int) bool
		hours int
		most  int // lines
		last  string
	}{
		"well":                        {func(int) bool { return false }, 2, 0, ""},
		"breaks":                      {func(s int) bool { return s > 100 }, 2, 1, "level=WARN msg=sensor sensor=flue"},
		"breaks and comes back":       {func(s int) bool { return s > 100 && s < 200 }, 2, 2, "reads again"},
		"now and then":                {func(s int) bool { return s%1200 == 600 }, 2, 12, "reads again"},
		"each second":                 {func(s int) bool { return s%2 == 0 }, 10, 6 + 2*60, ""},
		"each second, and then well":  {func(s int) bool { return s%2 == 0 && s < 5000 }, 3, 6 + 2*9, "now=reads"},
		"each second, and then never": {func(s int) bool { return s%2 == 0 || s > 5000 }, 3, 6 + 2*9, "level=WARN msg=sensor sensor=flue"},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			var said bytes.Buffer
			j := newJournal(slog.New(slog.NewTextHandler(&said, &slog.HandlerOptions{ReplaceAttr: func(_ []string, a slog.Attr) slog.Attr {
				if a.Key == slog.TimeKey {
					return slog.Attr{}
				}
				return a
			}})), units.SI)
			changes, was := 0, false
			for second := range tt.hours * 3600 {
				s := status.Status{Sensors: []status.Sensor{{Name: "flue"}}}
				s.Frame.At = time.Duration(second) * time.Second
				now := tt.fault(second)
				if now {
					s.Sensors[0].Fault = broken
				}
				if now != was {
					changes++
				}
				was = now
				j.tick(&s)
			}
			lines := strings.Split(strings.TrimSpace(said.String()), "\n")
			if said.Len() == 0 {
				lines = nil
			}
			t.Logf("%d changes, %d lines", changes, len(lines))
			if len(lines) > tt.most {
				t.Errorf("%d lines, want at most %d:\n%s", len(lines), tt.most, said.String())
			}
			if n := len(lines); tt.last != "" && (n == 0 || !strings.Contains(lines[n-1], tt.last)) {
				t.Errorf("at the end it does not say %q:\n%s", tt.last, said.String())
			}
			if changes > 100 && !strings.Contains(said.String(), "changes not told") {
				t.Errorf("it is not said how many changes were left out:\n%s", said.String())
			}
		})
	}
}
