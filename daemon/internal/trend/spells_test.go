package trend

import (
	"context"
	"strings"
	"testing"
	"time"

	"fluewright/daemon/internal/history"

	"github.com/google/go-cmp/cmp"
)

// told is a history of alarms alone: "minute change state", one of an alarm each.
type told struct {
	History
	lines []string
}

func (a told) Events(_ context.Context, kind string, _, _ time.Time) (all []history.Event, err error) {
	for i, l := range a.lines {
		f := strings.Fields(l)
		if kind == "alarms" {
			all = append(all, history.Event{At: minute(i), Fields: map[string]any{"alarm": "spillage", "change": f[0], "state": f[1], "priority": "high"}})
		}
	}
	return all, nil
}

func minute(n int) time.Time { return time.Unix(int64(60*n), 0).UTC() }

// An alarm stands from being raised to being cleared, whatever happens to it between and after.
func TestSpells(t *testing.T) {
	for name, tt := range map[string]struct {
		lines []string
		want  []string // from, to, acknowledged
	}{
		"raised and cleared":                    {[]string{"raised raised", "cleared returned"}, []string{"0 1 -"}},
		"it stands":                             {[]string{"raised raised", "updated raised"}, []string{"0 - -"}},
		"acknowledged while it stands":          {[]string{"raised raised", "acknowledged acknowledged", "cleared normal"}, []string{"0 2 1"}},
		"acknowledged when it is over":          {[]string{"raised raised", "cleared returned", "acknowledged normal"}, []string{"0 1 2"}},
		"suppressed meanwhile and raised anew":  {[]string{"raised raised", "suppressed suppressed", "raised raised", "cleared returned"}, []string{"0 2 -", "2 3 -"}},
		"suppressed before it was ever told":    {[]string{"suppressed suppressed", "cleared normal", "raised raised"}, []string{"2 - -"}},
		"shelved while nothing stands":          {[]string{"shelved shelved", "unshelved normal"}, nil},
		"shelved while it stands, and over":     {[]string{"raised raised", "shelved shelved", "unshelved normal"}, []string{"0 2 -"}},
		"its end was not seen":                  {[]string{"raised raised", "raised raised"}, []string{"0 1 -", "1 - -"}},
		"raised before the history":             {[]string{"updated raised", "cleared returned"}, []string{"- 1 -"}},
		"told after it was suppressed at first": {[]string{"suppressed suppressed", "raised raised", "cleared returned"}, []string{"1 2 -"}},
	} {
		spells, err := Spells(t.Context(), told{lines: tt.lines}, ever)
		if err != nil {
			t.Fatal(err)
		}
		var got []string
		for _, s := range spells {
			var words []string
			for _, at := range []time.Time{s.From, s.To, s.Acknowledged} {
				word := "-"
				for i := range tt.lines {
					if at.Equal(minute(i)) {
						word = string(rune('0' + i))
					}
				}
				words = append(words, word)
			}
			got = append(got, strings.Join(words, " "))
		}
		if diff := cmp.Diff(tt.want, got); diff != "" {
			t.Errorf("%s (-want +got):\n%s", name, diff)
		}
	}
}
