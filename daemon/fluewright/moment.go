package main

import (
	"fmt"
	"strconv"
	"strings"
	"time"

	"fluewright/analysis/frame"
)

// channelName is a channel on the command line.
type channelName frame.Channel

// UnmarshalText accepts the channels' names.
func (c *channelName) UnmarshalText(text []byte) error {
	channel, ok := frame.Parse(string(text))
	if !ok {
		return fmt.Errorf("%q is no channel: want some of %v", text, frame.All())
	}
	*c = channelName(channel)
	return nil
}

// span is a length of time on the command line: what Go writes, and days.
type span time.Duration

// UnmarshalText reads "48h", "90m", "7d".
func (s *span) UnmarshalText(text []byte) error {
	d, err := parseSpan(string(text))
	if err != nil || d <= 0 {
		return fmt.Errorf("%q is no length of time: want one as 48h, 90m or 7d", text)
	}
	*s = span(d)
	return nil
}

func parseSpan(text string) (time.Duration, error) {
	if days, ok := strings.CutSuffix(text, "d"); ok {
		n, err := strconv.ParseFloat(days, 64)
		const most = 36500
		if err != nil || !(n <= most) {
			return 0, fmt.Errorf("%q is no number of days", days)
		}
		return time.Duration(n * 24 * float64(time.Hour)), nil
	}
	return time.ParseDuration(text)
}

// moment is a time on the command line, as it was written: its zone may come later.
type moment string

// layouts are those without a zone.
var layouts = []string{"2006-01-02", "2006-01-02 15:04", "2006-01-02T15:04", "2006-01-02T15:04:05"}

// UnmarshalText accepts what in can read.
func (m *moment) UnmarshalText(text []byte) error {
	*m = moment(text)
	_, err := m.in(time.UTC)
	return err
}

// in reads the moment; what does not name a zone is in this one. Empty is the zero time.
func (m moment) in(zone *time.Location) (time.Time, error) {
	if m == "" {
		return time.Time{}, nil
	}
	if t, err := time.Parse(time.RFC3339, string(m)); err == nil {
		return t, nil
	}
	for _, l := range layouts {
		if t, err := time.ParseInLocation(l, string(m), zone); err == nil {
			return t, nil
		}
	}
	return time.Time{}, fmt.Errorf("%q is no time: want one as 2026-01-31T21:00:00Z or 2026-01-31 21:00", string(m))
}
