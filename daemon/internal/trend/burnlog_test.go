package trend_test

import (
	"bytes"
	"encoding/json"
	"strings"
	"testing"
	"time"

	"fluewright/analysis/alarm"
	"fluewright/daemon/internal/config"
	"fluewright/daemon/internal/message"
	"fluewright/daemon/internal/replay"
	"fluewright/daemon/internal/trend"
	"fluewright/daemon/internal/trend/trendtest"
)

// What was judged live is judged again from what the history kept, and comes out the same:
// the same alarms are raised and cleared in the same order, each at its second or, as the
// history rounds to a sixteenth of a degree, a few later or earlier.
func TestReplayOfATrendIsTheLiveRun(t *testing.T) {
	for _, kind := range []string{"dry fuel, mild", "regulator stuck shut", "downdraft"} {
		t.Run(kind, func(t *testing.T) {
			dir := t.TempDir()
			n := night(t, kind, 3, evening)
			told := trendtest.Record(t, dir, n)
			a := open(t, dir)
			w, err := trend.Pick{}.Window(t.Context(), a)
			if err != nil {
				t.Fatal(err)
			}
			channels, err := trend.Channels(t.Context(), a, w, nil)
			if err != nil {
				t.Fatal(err)
			}
			if channels != n.Fitted {
				t.Errorf("channels %v, want those that are fitted, %v", channels, n.Fitted)
			}
			var log, out bytes.Buffer
			if err := trend.WriteLog(t.Context(), &log, a, w, channels, 0); err != nil {
				t.Fatal(err)
			}
			cfg, err := config.Parse("night.toml", []byte(n.Configuration))
			if err != nil {
				t.Fatal(err)
			}
			if err := replay.Run(&log, &out, cfg.Analysis, cfg.Site.Units); err != nil {
				t.Fatal(err)
			}
			compare(t, told, lines(t, &out))
		})
	}
}

// lines are the changes of alarms that a replay tells.
func lines(t *testing.T, out *bytes.Buffer) (all []message.AlarmLine) {
	t.Helper()
	for line := range strings.Lines(out.String()) {
		var l message.AlarmLine
		if err := json.Unmarshal([]byte(line), &l); err != nil {
			t.Fatal(err)
		}
		if l.Type == "alarm" && l.State != "updated" {
			all = append(all, l)
		}
	}
	return all
}

func compare(t *testing.T, live []trendtest.Told, again []message.AlarmLine) {
	t.Helper()
	var want []trendtest.Told
	for _, e := range live {
		if e.Change == alarm.WasRaised || e.Change == alarm.WasCleared || e.Change == alarm.WasSuppressed {
			want = append(want, e)
		}
	}
	if len(want) == 0 {
		t.Error("nothing was told live: this night proves nothing")
	}
	if len(again) != len(want) {
		t.Errorf("%d changes, live there were %d", len(again), len(want))
	}
	for i := range min(len(want), len(again)) {
		name := again[i].Alarm
		if again[i].Channel != "" {
			name += "/" + again[i].Channel
		}
		if apart := again[i].Time.Sub(want[i].At).Abs(); name != want[i].Alarm || apart > 5*time.Second {
			t.Errorf("change %d: %s %s at %v, live %s %v at %v", i, name, again[i].State, again[i].Time, want[i].Alarm, want[i].Change, want[i].At)
		}
	}
}
