package message_test

import (
	"encoding/json"
	"strings"
	"testing"
	"time"

	"fluewright/analysis/cause"
	"fluewright/analysis/frame"
	"fluewright/daemon/internal/message"
	"fluewright/daemon/internal/units"
)

func night(at time.Duration) time.Time {
	return time.Date(2026, 1, 31, 21, 0, 0, 0, time.UTC).Add(at)
}

func TestEvidence(t *testing.T) {
	const m = time.Minute
	tests := []struct {
		e    cause.Evidence
		want string
	}{
		{cause.Evidence{}, ""},
		{
			cause.Evidence{Kind: cause.DraftOver, Channel: frame.Draft, Value: 27.4, Reference: 14.95, For: 12 * m},
			"The draft stood at 0.110 in. w.c. for 12 min; the appliance is specified for at most 0.060 in. w.c.",
		},
		{
			cause.Evidence{Kind: cause.OnCoals, Channel: frame.Firebox, Value: 600, For: 40 * m, At: 65 * m},
			"Just before, at 22:05, the firebox was still at 1112 °F, 40 min after the flames were over.",
		},
		{
			cause.Evidence{Kind: cause.OnCoals, Channel: frame.Chamber, Value: 500, At: 65 * m},
			"Just before, at 22:05, the chamber was at 932 °F.",
		},
		{
			cause.Evidence{Kind: cause.Revived, Channel: frame.Flue, Value: 120, At: 65 * m},
			"At 22:05 the fire had burnt down, the flue was at 248 °F: it hardly rises so far again without new wood, though no reading shows when that was laid on.",
		},
		{
			cause.Evidence{Kind: cause.Rose, Channel: frame.Flue, Value: 450, Reference: 200, For: 80 * time.Second},
			"The flue rose from 392 °F to 842 °F in 80 s.",
		},
		{
			cause.Evidence{Kind: cause.NotLoaded, For: 150 * m, At: 30 * m},
			"The rise began at 21:30, 3 h after wood was last laid on.",
		},
		{
			cause.Evidence{Kind: cause.Moisture, Value: 0.08, Reference: 0.1},
			"The wood was logged with 8 % moisture (wet basis); under 10 % it burns too fast.",
		},
	}
	for _, tt := range tests {
		if got := message.Evidence(tt.e, night, units.US); got != tt.want {
			t.Errorf("%+v: %q, want %q", tt.e, got, tt.want)
		}
	}
}

// Every kind of evidence has a sentence, and it is one: no number is left without a unit
// by a forgotten case.
func TestEveryEvidenceIsASentence(t *testing.T) {
	seen := map[string]bool{}
	for k := cause.None + 1; k <= cause.Stopped; k++ {
		s := message.Evidence(cause.Evidence{Kind: k, Channel: frame.Flue, Value: 12, Reference: 10, For: 5 * time.Minute}, night, units.SI)
		if !strings.HasSuffix(s, ".") || strings.Contains(s, "%!") || seen[s] {
			t.Errorf("evidence %d: %q", k, s)
		}
		seen[s] = true
	}
}

func TestEveryCauseHasItsAdvice(t *testing.T) {
	for _, c := range cause.Codes() {
		a := message.CauseAdvice(c)
		if !strings.Contains(a, "manual") {
			t.Errorf("%s: %q does not defer to the manual", c, a)
		}
		if s := strings.ToLower(a); strings.Contains(s, "open the") || strings.Contains(s, "water") {
			t.Errorf("%s: %q", c, a)
		}
		if why := message.Why([]cause.Cause{{Code: c, Weight: 0.8}}); !strings.HasPrefix(why, "Very likely cause: ") || strings.HasSuffix(why, ": .") {
			t.Errorf("%s: %q", c, why)
		}
	}
	if a := message.CauseAdvice(""); a != "" {
		t.Errorf("no cause: %q", a)
	}
}

func TestDryWoodIsAnsweredByTheTrade(t *testing.T) {
	a := message.CauseAdvice(cause.DryFuel)
	for _, want := range []string{"lower mark", "wetter or larger pieces"} {
		if !strings.Contains(a, want) {
			t.Errorf("%q lacks %q", a, want)
		}
	}
}

func TestNothingStandsOut(t *testing.T) {
	if got := message.Why(nil); !strings.Contains(got, "Nothing") || !strings.Contains(got, "stands out") {
		t.Errorf("%q", got)
	}
	if got := message.Causes(nil, night, units.SI); got == nil || len(got) != 0 {
		t.Errorf("%#v, want a list of none", got)
	}
}

func TestCauses(t *testing.T) {
	dry := cause.Cause{Code: cause.DryFuel, Weight: 0.7051}
	dry.Evidence[0] = cause.Evidence{Kind: cause.Stayed, Channel: frame.Flue, Value: 470, Reference: 365, For: 15 * time.Minute}
	got, err := json.Marshal(message.Causes([]cause.Cause{dry, {Code: cause.FineFuel, Weight: 0.2}}, night, units.SI))
	if err != nil {
		t.Fatal(err)
	}
	want := `[{"code":"dry-fuel","weight":0.71,"evidence":["The flue has stood above 365 °C for 15 min."]},{"code":"fine-fuel","weight":0.2,"evidence":[]}]`
	if string(got) != want {
		t.Errorf("%s\nwant %s", got, want)
	}
}
