package panel

import (
	"slices"
	"testing"
	"time"

	"pgregory.net/rapid"
)

func zone(t interface{ Fatal(...any) }, name string) *time.Location {
	z, err := time.LoadLocation(name)
	if err != nil {
		t.Fatal(err)
	}
	return z
}

func labels(ticks []tick) (all []string) {
	for _, k := range ticks {
		l := k.label
		if k.day != "" {
			l += " " + k.day
		}
		all = append(all, l)
	}
	return all
}

func TestTimeTicks(t *testing.T) {
	tests := []struct {
		name, zone string
		from       string // local
		span       time.Duration
		most       int
		want       []string
	}{
		{"minutes", "UTC", "2026-01-31 21:58:30", 5 * time.Minute, 6, []string{"21:59", "22:00", "22:01", "22:02", "22:03"}},
		{"a night", "America/Chicago", "2026-01-31 21:04:00", 10 * time.Hour, 4, []string{"00:00 Sun, Feb 1", "03:00", "06:00"}},
		{"half an hour's zone", "Asia/Kolkata", "2026-01-31 21:04:00", 2 * time.Hour, 4, []string{"21:30", "22:00", "22:30", "23:00"}},
		{"spring, 23 h", "America/New_York", "2026-03-08 00:00:00", 23 * time.Hour, 8, []string{"00:00 Sun, Mar 8", "03:00", "06:00", "09:00", "12:00", "15:00", "18:00", "21:00", "00:00 Mon, Mar 9"}},
		{"spring, by the half hour", "America/New_York", "2026-03-08 01:00:00", 2 * time.Hour, 4, []string{"01:00", "01:30", "03:00", "03:30", "04:00"}},
		{"spring, by two hours", "America/New_York", "2026-03-08 00:00:00", 8 * time.Hour, 4, []string{"00:00 Sun, Mar 8", "04:00", "06:00", "08:00"}},
		{"fall, 25 h", "America/New_York", "2026-11-01 00:00:00", 25 * time.Hour, 5, []string{"00:00 Sun, Nov 1", "06:00", "12:00", "18:00", "00:00 Mon, Nov 2"}},
		{"fall, an hour twice", "America/New_York", "2026-11-01 00:00:00", 4 * time.Hour, 4, []string{"00:00 Sun, Nov 1", "01:00", "01:00", "02:00", "03:00"}},
		{"fall, by two hours", "America/New_York", "2026-11-01 00:00:00", 8 * time.Hour, 4, []string{"00:00 Sun, Nov 1", "02:00", "04:00", "06:00"}},
		{"half an hour's change", "Australia/Lord_Howe", "2026-10-04 00:00:00", 5 * time.Hour, 5, []string{"00:00 Sun, Oct 4", "01:00", "03:00", "04:00", "05:00"}},
		{"days over a change", "Europe/Berlin", "2026-03-27 12:00:00", 4 * day, 4, []string{"Mar 28", "Mar 29", "Mar 30", "Mar 31"}},
		{"a day that begins at one", "America/Santiago", "2026-09-04 12:00:00", 4 * day, 4, []string{"Sep 5", "Sep 6", "Sep 7", "Sep 8"}},
		{"weeks begin on Monday", "UTC", "2026-01-01 00:00:00", 28 * day, 5, []string{"Jan 5", "Jan 12", "Jan 19", "Jan 26"}},
		{"a season", "UTC", "2025-10-01 00:00:00", 200 * day, 7, []string{"Oct 2025", "Nov 2025", "Dec 2025", "Jan 2026", "Feb 2026", "Mar 2026", "Apr 2026"}},
		{"ten years", "UTC", "2016-10-01 00:00:00", 3650 * day, 6, []string{"2018", "2020", "2022", "2024", "2026"}},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			z := zone(t, tt.zone)
			from, err := time.ParseInLocation(time.DateTime, tt.from, z)
			if err != nil {
				t.Fatal(err)
			}
			ticks, _ := timeTicks(from, from.Add(tt.span), z, tt.most)
			if got := labels(ticks); !slices.Equal(got, tt.want) {
				t.Errorf("got  %q\nwant %q", got, tt.want)
			}
		})
	}
}

func TestTimeTicksAreRoundAndInOrder(t *testing.T) {
	zones := []string{
		"UTC", "America/New_York", "Europe/Berlin", "Asia/Kathmandu", "Australia/Lord_Howe",
		"America/Santiago", "Africa/Casablanca", "Pacific/Apia", "America/St_Johns",
	}
	rapid.Check(t, func(t *rapid.T) {
		z := zone(t, rapid.SampledFrom(zones).Draw(t, "zone"))
		from := time.Unix(rapid.Int64Range(1e9, 2e9).Draw(t, "from"), 0)
		span := time.Duration(rapid.Int64Range(1, int64(800*day/time.Second)).Draw(t, "span")) * time.Second
		if rapid.Bool().Draw(t, "short") {
			span = span%(3*day) + time.Second
		}
		most := rapid.IntRange(3, 25).Draw(t, "most")
		ticks, timesOfDay := timeTicks(from, from.Add(span), z, most)
		if len(ticks) > most+3 {
			t.Fatalf("%d ticks, want %d at most: %q", len(ticks), most, labels(ticks))
		}
		for i, k := range ticks {
			if k.at.Before(from) || k.at.After(from.Add(span)) {
				t.Fatalf("%v is outside", k.at)
			}
			if i > 0 && !k.at.After(ticks[i-1].at) {
				t.Fatalf("%v is not after %v", k.at, ticks[i-1].at)
			}
			if timesOfDay && k.at.In(z).Second()%5 != 0 && span > 2*time.Minute {
				t.Fatalf("%v is not round", k.at.In(z))
			}
			if timesOfDay && span > 6*time.Hour && k.at.In(z).Minute()%15 != 0 {
				t.Fatalf("%v is not round", k.at.In(z))
			}
			if !timesOfDay && k.at.Add(-time.Second).In(z).Day() == k.at.In(z).Day() {
				t.Fatalf("%v does not begin a day", k.at.In(z))
			}
		}
	})
}
