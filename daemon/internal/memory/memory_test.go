package memory_test

import (
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"fluewright/analysis"
	"fluewright/analysis/alarm"
	"fluewright/analysis/gate"
	"fluewright/analysis/notice"
	"fluewright/daemon/internal/memory"
	"github.com/google/go-cmp/cmp"
)

var kept = analysis.Snapshot{
	Regulator: gate.Memory{Reach: 3.5, Held: 12},
	Upkeep:    notice.Upkeep{Tar: 7.25},
	Snapshot: alarm.Snapshot{
		Version: alarm.SnapshotVersion, Taken: time.Date(2026, 1, 17, 22, 0, 0, 0, time.UTC), ClockTrusted: true,
		Alarms: []alarm.Kept{
			{Alarm: alarm.Overheat, Channel: "flue", State: "acknowledged", Holds: true, Occurrence: 2, Acknowledged: true, Since: 12.5, Began: 90, Value: 600, Limit: 538},
			{Alarm: alarm.DraftLow, State: "shelved", Shelf: 3600, ShelvedBy: "Ann"},
		},
	},
}

func TestWhatIsSavedIsLoaded(t *testing.T) {
	dir := t.TempDir()
	if _, found, err := memory.Load(dir); found || err != nil {
		t.Errorf("nothing was saved yet: %v, %v", found, err)
	}
	if err := memory.Save(dir, kept); err != nil {
		t.Fatal(err)
	}
	got, found, err := memory.Load(dir)
	if err != nil || !found {
		t.Fatal(found, err)
	}
	if diff := cmp.Diff(kept, got); diff != "" {
		t.Errorf("(-saved +loaded):\n%s", diff)
	}
}

func TestFilesThatAreNotWhole(t *testing.T) {
	text, err := json.Marshal(kept)
	if err != nil {
		t.Fatal(err)
	}
	for name, data := range map[string]string{
		"torn":           string(text[:len(text)/2]),
		"empty":          "",
		"zeros":          strings.Repeat("\x00", 512),
		"two":            string(text) + string(text),
		"another":        `{"version":1,"fires":[]}`,
		"newer":          `{"version":2}`,
		"nothing":        "null",
		"a longer story": `{"version":1,"alarms":[` + strings.Repeat(" ", 2<<20) + "]}",
	} {
		dir := t.TempDir()
		if err := os.WriteFile(filepath.Join(dir, memory.FileName), []byte(data), 0o600); err != nil {
			t.Fatal(err)
		}
		if _, found, err := memory.Load(dir); err == nil || found {
			t.Errorf("%s: found %v, error %v", name, found, err)
		}
		if err := memory.SetAside(dir); err != nil {
			t.Errorf("%s: %v", name, err)
		}
		if _, found, err := memory.Load(dir); found || err != nil {
			t.Errorf("%s: after it was set aside %v, %v", name, found, err)
		}
	}
}

// Any bytes: what is read can be written and is read again as the same.
func FuzzParse(f *testing.F) {
	text, err := json.Marshal(kept)
	if err != nil {
		f.Fatal(err)
	}
	f.Add(text)
	f.Add(text[:40])
	f.Add([]byte(`{"version":1,"alarms":[{"alarm":"x","since_seconds":1e308}]}`))
	f.Fuzz(func(t *testing.T, data []byte) {
		s, err := memory.Parse(data)
		if err != nil {
			return
		}
		dir := t.TempDir()
		if err := memory.Save(dir, s); err != nil {
			return // a year that JSON cannot write
		}
		got, _, err := memory.Load(dir)
		if err != nil {
			t.Fatalf("%s: %v", data, err)
		}
		if diff := cmp.Diff(s.Alarms, got.Alarms); diff != "" && len(s.Alarms) > 0 {
			t.Fatalf("%s", diff)
		}
	})
}
