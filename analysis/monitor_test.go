package analysis_test

import (
	"slices"
	"testing"
	"time"

	"fluewright/analysis/alarm"
)

func TestTheMonitorItself(t *testing.T) {
	s := house()
	s.Monitored = true
	n := newNight(t, s)
	n.run(3 * time.Minute)
	if a := n.status("monitor-impaired"); a.State != alarm.Unjudged || !a.Blind {
		t.Fatalf("nobody has told the engine, and it says %+v", a)
	}
	n.engine.Impaired("")
	n.run(2 * time.Minute)
	if a := n.status("monitor-impaired"); a.State != alarm.Normal || a.Blind {
		t.Fatalf("all is well, and it says %+v", a)
	}
	n.said = nil
	n.engine.Impaired("full")
	n.run(59 * time.Second)
	n.engine.Impaired("") // what passes by itself
	n.run(time.Minute)
	n.engine.Impaired("full")
	n.run(2 * time.Minute)
	n.engine.Impaired("slow")
	n.run(time.Minute)
	if a := n.status("monitor-impaired"); a.State != alarm.Raised || a.Fault != "slow" {
		t.Errorf("%+v", a)
	}
	n.engine.Impaired("")
	n.run(2 * time.Minute)
	want := []string{"monitor-impaired raised", "monitor-impaired updated", "monitor-impaired cleared"}
	if !slices.Equal(n.said, want) {
		t.Errorf("said %q, want %q", n.said, want)
	}
}

// A log that is replayed has no monitor whose health could be told.
func TestNoMonitorNoAlarmOfIt(t *testing.T) {
	n := newNight(t, house())
	n.engine.Impaired("full")
	n.run(5 * time.Minute)
	for _, a := range n.last.Alarms {
		if a.Key.Name == alarm.MonitorImpaired {
			t.Errorf("%+v", a)
		}
	}
}
