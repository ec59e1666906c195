// Package simulated gives the nights of the bench's simulator to the judge: the same
// readings, and its truth in the judge's words.
package simulated

import (
	"math"
	"slices"
	"strings"
	"time"

	"fluewright/analysis/frame"
	"fluewright/daemon/judge/night"
	"fluewright/sensors/bench/nights"
)

// World is the world. Its zero value is ready.
type World struct{}

// Name implements night.World.
func (World) Name() string { return "nights" }

// Kinds implements night.World.
func (World) Kinds() []night.Kind {
	var all []night.Kind
	for _, k := range nights.Kinds() {
		all = append(all, night.Kind{Name: named(k), About: k.About, Legit: k.Legitimate()})
	}
	return all
}

// named is the kind's name as one word.
func named(k nights.Kind) string {
	return strings.ReplaceAll(strings.ReplaceAll(k.Name, ",", ""), " ", "-")
}

// Night implements night.World.
func (World) Night(kind string, seed uint64) night.Night {
	all := nights.Kinds()
	i := slices.IndexFunc(all, func(k nights.Kind) bool { return named(k) == kind })
	n := all[i].Night(seed)
	out := &simulated{night: n}
	for c := range out.coldest {
		out.coldest[c] = math.Inf(1)
	}
	return out
}

// channels says in which place of a row of the simulator each channel stands.
var channels = [frame.Count]int{
	frame.Firebox: nights.Firebox, frame.Chamber: nights.Chamber, frame.Flue: nights.Flue,
	frame.Plenum: nights.Plenum, frame.Return: nights.Return, frame.Room: nights.Room,
	frame.Outdoor: nights.Outdoor, frame.Draft: nights.Draft, frame.Ambient: nights.Ambient,
}

// channel is the channel that stands in the place, frame.Count if none does.
func channel(place int) frame.Channel {
	for c, p := range channels {
		if p == place {
			return frame.Channel(c)
		}
	}
	return frame.Count
}

// simulated is a night of the simulator. What its truth does not say is taken from the
// rows as they pass.
type simulated struct {
	night   *nights.Night
	row     nights.Row
	truth   *night.Truth
	end     time.Duration
	coldest [frame.Count]float64
	warm    int // rows in a row that show a fire
	fire    []night.Span
	hottest [frame.Count]float64
	apart   [frame.Count][frame.Count]time.Duration // when two channels first differed
}

// Site implements night.Night.
func (s *simulated) Site() night.Site {
	from := s.night.Site
	site := night.Site{
		DraftLow: from.DraftLow, DraftHigh: from.DraftHigh, Altitude: from.Altitude,
		ChimneyHeight: from.Height, ChimneyDiameter: from.Diameter,
	}
	for c, p := range channels {
		site.Fitted[c] = from.Fitted[p]
	}
	for _, c := range []frame.Channel{frame.Firebox, frame.Chamber, frame.Flue} {
		if limit := from.Limits[channels[c]]; limit > 0 && site.Fitted[c] {
			site.Limits[c] = limit
		}
	}
	return site
}

// Next implements night.Night.
func (s *simulated) Next(row *night.Row) bool {
	if !s.night.Next(&s.row) {
		s.truth = s.tell()
		return false
	}
	row.At = s.row.At
	for c, p := range channels {
		row.Values[c] = s.row.Values[p]
	}
	s.end = row.At
	s.watch(row)
	return true
}

// Truth implements night.Night.
func (s *simulated) Truth() *night.Truth { return s.truth }

// Readings show a fire when one of these is so much warmer than it was at its coldest,
// for so many rows; two channels are apart from so many K on.
var visible = [frame.Count]float64{frame.Firebox: 40, frame.Chamber: 40, frame.Flue: 20}

const (
	enough = 5
	apart  = 40
)

func (s *simulated) watch(row *night.Row) {
	fire := false
	for c, k := range visible {
		v := row.Values[c]
		if math.IsNaN(v) {
			continue
		}
		s.coldest[c] = min(s.coldest[c], v)
		fire = fire || k > 0 && v > s.coldest[c]+k
	}
	if s.warm++; !fire {
		s.warm = 0
	}
	switch {
	case s.warm == enough:
		s.fire = append(s.fire, night.Span{From: row.At, To: row.At})
	case s.warm > enough:
		s.fire[len(s.fire)-1].To = row.At
	}
	hot := []frame.Channel{frame.Chamber, frame.Flue, frame.Plenum}
	for _, a := range hot {
		if !math.IsNaN(row.Values[a]) {
			s.hottest[a] = max(s.hottest[a], row.Values[a])
		}
		for _, b := range hot {
			if s.apart[a][b] == 0 && math.Abs(row.Values[a]-row.Values[b]) > apart {
				s.apart[a][b] = row.At
			}
		}
	}
}
