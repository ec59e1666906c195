package history_test

import (
	"testing"
	"time"

	"fluewright/analysis"
	"fluewright/analysis/alarm"
	"fluewright/analysis/burn"
	"fluewright/analysis/frame"
	"fluewright/daemon/internal/history"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
)

// What is asked for right after it happened is there without the storage being made to work,
// and is the same once it is in the file.
func TestEventsBeforeTheyAreWritten(t *testing.T) {
	s := begin(t, options(t.TempDir()))
	s.ticks(0, 10*time.Second)
	s.commit()
	s.stop() // nothing is written from here on
	commits := s.Health().Commits
	s.tick(10*time.Second,
		raised(alarm.Overheat, frame.Flue, 1),
		analysis.Event{Kind: analysis.Reloaded, Load: burn.Load{At: 9 * time.Second, Cold: true}},
		analysis.Event{Kind: analysis.DoorOpened, Door: burn.Door{At: 8 * time.Second}},
		analysis.Event{Kind: analysis.PhaseChanged, From: burn.Cold, To: burn.Lighting})
	kinds := []string{"alarms", "loads", "doors", "phases"}
	all := func() (all [][]history.Event) {
		for _, kind := range kinds {
			events, err := s.Events(t.Context(), kind, noon, noon.Add(time.Hour))
			if err != nil || len(events) != 1 {
				t.Fatalf("%d %s, %v", len(events), kind, err)
			}
			all = append(all, events)
		}
		return all
	}
	before := all()
	if now := s.Health().Commits; now != commits {
		t.Errorf("looking made %d commits", now-commits)
	}
	s.commitHere()
	if diff := cmp.Diff(before, all(), cmpopts.IgnoreUnexported(history.Event{})); diff != "" {
		t.Errorf("written, the events differ:\n%s", diff)
	}
}

// A history that is being kept says who ran, with what, and which channels there are.
func TestRunsOfAHistoryThatIsKept(t *testing.T) {
	dir := t.TempDir()
	first := begin(t, options(dir))
	first.ticks(0, 10*time.Minute)
	first.close()
	o := options(dir)
	o.Software, o.Configuration = "2.0", "[site]\nname = \"b\"\n"
	s := begin(t, o)
	s.wall = noon.Add(time.Hour)
	s.ticks(0, 5*time.Minute)
	s.commit()
	boots, err := s.Boots(t.Context(), noon, noon.Add(2*time.Hour))
	if err != nil || len(boots) != 2 {
		t.Fatalf("%v, %v", boots, err)
	}
	if boots[0].Software != "1.0" || boots[1].Software != "2.0" || boots[1].Configuration != o.Configuration {
		t.Errorf("%+v", boots)
	}
	if got := boots[1].From; !got.Equal(noon.Add(time.Hour)) {
		t.Errorf("the second run began at %v", got)
	}
	there, err := s.Channels(t.Context(), noon.Add(time.Hour), noon.Add(2*time.Hour))
	if err != nil || !there[frame.Flue] || !there[frame.Draft] || there[frame.Plenum] {
		t.Errorf("%v, %v", there, err)
	}
	if only, err := s.ByMinuteOnly(t.Context(), noon, noon.Add(2*time.Hour)); err != nil || only != 0 {
		t.Errorf("%v by the minute alone, %v", only, err)
	}
}
