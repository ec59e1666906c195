package simulated

import (
	"strings"
	"testing"
	"time"

	"fluewright/analysis/frame"
	"fluewright/daemon/judge/night"
	"fluewright/sensors/bench/nights"

	"github.com/google/go-cmp/cmp"
)

func TestKindsHaveOneWord(t *testing.T) {
	seen := map[string]bool{}
	for _, k := range (World{}).Kinds() {
		if seen[k.Name] || k.Name == "" || strings.ContainsAny(k.Name, " ,/") {
			t.Errorf("kind %q", k.Name)
		}
		seen[k.Name] = true
	}
}

// The channels stand where their names say.
func TestChannels(t *testing.T) {
	for c, p := range channels {
		if got, want := nights.ChannelNames[p], frame.Channel(c).String(); got != want {
			t.Errorf("%s is read from %s", want, got)
		}
	}
	if got := channel(-1); got != frame.Count {
		t.Errorf("no place is %v", got)
	}
}

// What is true arrives in the judge's words.
func TestTruthArrives(t *testing.T) {
	if testing.Short() {
		t.Skip("plays whole nights, and the same ones on every machine")
	}
	tests := map[string]struct {
		hazard  night.Hazard
		channel frame.Channel
	}{
		"dead-wire-cold":       {hazard: night.SensorDead},
		"hose-off":             {night.SensorSilent, frame.Draft},
		"swapped-wires":        {hazard: night.SensorSilent},
		"chimney-fire-violent": {hazard: night.ChimneyFire},
		"power-cut":            {hazard: night.BlowerStopped},
	}
	for kind, want := range tests {
		t.Run(kind, func(t *testing.T) {
			n := World{}.Night(kind, 1)
			site := n.Site()
			if !site.Fitted[frame.Flue] || !site.Fitted[frame.Draft] || site.Limits[frame.Flue] <= 0 || site.DraftLow <= 0 {
				t.Fatalf("site %+v", site)
			}
			var r night.Row
			for n.Next(&r) {
			}
			truth := n.Truth()
			var found *night.Event
			for i := range truth.Events {
				if truth.Events[i].Hazard == want.hazard {
					found = &truth.Events[i]
				}
			}
			if found == nil {
				t.Fatalf("no %s in %+v", want.hazard, truth.Events)
			}
			if want.channel != 0 && found.Channel != want.channel {
				t.Errorf("%s of %v", want.hazard, found.Channel)
			}
			if found.From < found.Began || found.To <= found.From {
				t.Errorf("%s began %v, shows from %v to %v", want.hazard, found.Began, found.From, found.To)
			}
			if len(truth.Loads) == 0 || truth.Burning == 0 {
				t.Errorf("nothing burns: %+v", truth)
			}
			for _, c := range truth.Crossings {
				if site.Limits[c.Channel] == 0 {
					t.Errorf("a crossing of %v, which has no limit", c.Channel)
				}
			}
		})
	}
}

// Turned drafts that follow one another are one spillage if the draft is turned for most
// of the time, and gusts if it is not.
func TestTurnedDraftsAreJoined(t *testing.T) {
	span := func(from, to int) nights.Span {
		return nights.Span{From: time.Duration(from) * time.Second, To: time.Duration(to) * time.Second}
	}
	tests := map[string]struct {
		spills []nights.Span
		want   []int
	}{
		"alone":           {[]nights.Span{span(0, 100)}, []int{1}},
		"flickering":      {[]nights.Span{span(0, 50), span(55, 90), span(100, 200)}, []int{3}},
		"a storm's gusts": {[]nights.Span{span(0, 12), span(50, 62), span(100, 112)}, []int{1, 2, 3}},
		"two far apart":   {[]nights.Span{span(0, 100), span(161, 300)}, []int{1, 2}},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			var got []int
			for i := 0; i < len(tt.spills); {
				i = together(tt.spills, i)
				got = append(got, i)
			}
			if diff := cmp.Diff(tt.want, got); diff != "" {
				t.Errorf("ends (-want +got):\n%s", diff)
			}
		})
	}
}
