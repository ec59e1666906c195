package upkeep_test

import (
	"encoding/json"
	"strings"
	"testing"
	"time"

	"fluewright/analysis/notice"
	"fluewright/daemon/internal/trend/trendtest"
	"fluewright/daemon/internal/upkeep"
)

var autumn = time.Date(2026, 9, 1, 6, 0, 0, 0, time.UTC)

func states(t *testing.T, all []upkeep.Job, err error) map[string]upkeep.Standing {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
	got := map[string]upkeep.Standing{}
	for _, j := range all {
		got[j.Job] = j.State
	}
	return got
}

// Nothing is said to be well that nobody has logged.
func TestNothingIsKnown(t *testing.T) {
	all, err := upkeep.List(t.Context(), nil, upkeep.Now{Time: autumn})
	for job, state := range states(t, all, err) {
		if state != upkeep.NotKnown {
			t.Errorf("%s is %s", job, state)
		}
	}
	k := trendtest.Keep(t, t.TempDir(), autumn)
	all, err = upkeep.List(t.Context(), k, upkeep.Now{Time: autumn, Count: &notice.Upkeep{}})
	for job, state := range states(t, all, err) {
		if state != upkeep.NotKnown {
			t.Errorf("with an empty log %s is %s", job, state)
		}
	}
	var count notice.Upkeep
	count.Burnt[notice.Ash] = 200
	all, err = upkeep.List(t.Context(), k, upkeep.Now{Time: autumn, Count: &count})
	if got := states(t, all, err); got["ash"] != upkeep.Due || got["sweeping"] != upkeep.NotKnown {
		t.Errorf("after 200 h: %v", got)
	}
}

func TestWhatWasDone(t *testing.T) {
	k := trendtest.Keep(t, t.TempDir(), autumn)
	k.At(time.Hour)
	for _, job := range upkeep.Names() {
		k.Note("Ann", job+": before the season")
	}
	k.Note("Ann", "the ash was wet")
	hours := 0
	for i := range 50 { // of 16 h each
		end := time.Duration(i+1) * 20 * time.Hour
		k.At(end, k.Burn(end, 16*time.Hour))
		hours += 16
	}
	k.Note("Bo", "sweeping")
	var count notice.Upkeep
	count.Burnt[notice.Ash], count.Burnt[notice.Flue], count.Burnt[notice.Probes] = 20, 10, 800
	now := upkeep.Now{Time: autumn.Add(1001 * time.Hour), Count: &count, Going: 3600}
	all, err := upkeep.List(t.Context(), k, now)
	got := states(t, all, err)
	for job, want := range map[string]upkeep.Standing{
		"ash": upkeep.NotDue, "filter": upkeep.Due, "sweeping": upkeep.NotDue, "probes": upkeep.NotDue, "gasket": upkeep.NotDue, "inspection": upkeep.NotDue,
	} {
		if got[job] != want {
			t.Errorf("%s is %s, want %s", job, got[job], want)
		}
	}
	for _, j := range all {
		switch j.Job {
		case "sweeping":
			if j.By != "Bo" || j.Text != "" || !j.Done.Equal(autumn.Add(1000*time.Hour)) || *j.Fire != 36000 {
				t.Errorf("%+v", j)
			}
		case "filter":
			if j.Text != "before the season" || *j.Fire != float64(hours+1)*3600 {
				t.Errorf("%+v: %g h", j, *j.Fire/3600)
			}
		}
	}
	// A year later the calendar alone makes them due, but not what counts by fire alone.
	now.Time = autumn.AddDate(1, 2, 0)
	all, err = upkeep.List(t.Context(), k, now)
	got = states(t, all, err)
	if got["inspection"] != upkeep.Due || got["gasket"] != upkeep.Due || got["sweeping"] != upkeep.Due || got["ash"] != upkeep.NotDue {
		t.Errorf("a year later: %v", got)
	}
	count.Tar = 61
	now.Time = autumn.Add(1001 * time.Hour)
	all, err = upkeep.List(t.Context(), k, now)
	if got := states(t, all, err); got["sweeping"] != upkeep.Due {
		t.Error("tar does not count")
	}
	// Without the count of the analysis it is not known that nothing is due.
	now.Count = nil
	all, err = upkeep.List(t.Context(), k, now)
	if got := states(t, all, err); got["ash"] != upkeep.NotKnown || got["inspection"] != upkeep.NotDue {
		t.Errorf("without a count: %v", got)
	}
}

func TestNotes(t *testing.T) {
	for note, want := range map[string]string{
		"ash: two buckets": "ash|two buckets", "sweeping": "sweeping|", "ashes: none": "|ashes: none", "": "|", "Ash: x": "|Ash: x",
	} {
		job, text, ok := upkeep.Of(note)
		if got := job + "|" + text; got != want || ok != (job != "") {
			t.Errorf("%q is %q", note, got)
		}
	}
	all, err := upkeep.List(t.Context(), nil, upkeep.Now{Time: autumn})
	if err != nil {
		t.Fatal(err)
	}
	b, err := json.Marshal(all)
	if err != nil || !strings.Contains(string(b), `"done_at":null`) || !strings.Contains(string(b), `"title":"Air filter"`) {
		t.Errorf("%s %v", b, err)
	}
}
