package main

import (
	"testing"
	"time"
)

func TestMoments(t *testing.T) {
	chicago, err := time.LoadLocation("America/Chicago")
	if err != nil {
		t.Fatal(err)
	}
	for text, want := range map[string]string{
		"":                          "0001-01-01T00:00:00Z",
		"2026-01-31":                "2026-01-31T06:00:00Z",
		"2026-07-01":                "2026-07-01T05:00:00Z", // summer time
		"2026-01-31 21:00":          "2026-02-01T03:00:00Z",
		"2026-01-31T21:00:05":       "2026-02-01T03:00:05Z",
		"2026-01-31T21:00:05Z":      "2026-01-31T21:00:05Z",
		"2026-01-31T21:00:05+01:00": "2026-01-31T20:00:05Z",
	} {
		if got, err := moment(text).in(chicago); err != nil || got.UTC().Format(time.RFC3339) != want {
			t.Errorf("%q: %v, %v, want %s", text, got, err, want)
		}
	}
}

func FuzzSpan(f *testing.F) {
	for _, s := range []string{"48h", "7d", "0.5d", "-1h", "1e9d", "NaNd", "d", "yesterday"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, text string) {
		var s span
		if err := s.UnmarshalText([]byte(text)); err == nil && s <= 0 {
			t.Errorf("%q is %v", text, time.Duration(s))
		}
	})
}
