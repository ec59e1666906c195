package now

import (
	"testing"
	"time"

	"fluewright/analysis/alarm"
)

// "normal" is said only of what is judged, and whose condition is gone.
func TestWatched(t *testing.T) {
	tests := map[string]struct {
		status  alarm.Status
		silence time.Duration
		want    string
	}{
		"normal":              {alarm.Status{State: alarm.Normal}, 0, "normal"},
		"blind":               {alarm.Status{State: alarm.Normal, Blind: true}, 0, "cannot be judged"},
		"unjudged":            {alarm.Status{}, 0, "not judged yet"},
		"standing":            {alarm.Status{State: alarm.Raised}, 0, "standing"},
		"standing, blind":     {alarm.Status{State: alarm.Acknowledged, Blind: true}, 0, "standing; cannot be judged now"},
		"acknowledged":        {alarm.Status{State: alarm.Acknowledged}, 0, "standing, acknowledged"},
		"over":                {alarm.Status{State: alarm.Returned}, 0, "over, not acknowledged"},
		"over, long silence":  {alarm.Status{State: alarm.Returned}, time.Minute, "cannot be judged"},
		"shelved, holds":      {alarm.Status{State: alarm.Shelved, Condition: alarm.Holds, ShelvedBy: "Ann"}, 0, "standing, shelved by Ann"},
		"shelved, gone":       {alarm.Status{State: alarm.Shelved, Condition: alarm.Gone, ShelvedBy: "Ann"}, 0, "shelved by Ann"},
		"shelved, blind":      {alarm.Status{State: alarm.Shelved, Condition: alarm.Gone, ShelvedBy: "Ann", Blind: true}, 0, "cannot be judged"},
		"shelved, not judged": {alarm.Status{State: alarm.Shelved, ShelvedBy: "Ann", Blind: true}, 0, "cannot be judged"},
		"suppressed":          {alarm.Status{State: alarm.Suppressed, Condition: alarm.Holds, SuppressedBy: alarm.Spillage}, 0, "not told while there is spillage"},
	}
	for name, tt := range tests {
		if got := watched(tt.status, tt.silence); got != tt.want {
			t.Errorf("%s: %q, want %q", name, got, tt.want)
		}
	}
}
