package trend

import (
	"context"
	"math"
	"slices"
	"strconv"
	"time"

	"fluewright/analysis/frame"
	"fluewright/daemon/internal/burnlog"
	"fluewright/daemon/internal/history"
)

// Course is a window reduced to columns, and what happened in it. All is SI and UTC.
type Course struct {
	From time.Time `json:"from"`
	To   time.Time `json:"to"`
	// Columns share the time evenly.
	Columns       int     `json:"columns"`
	ColumnSeconds float64 `json:"column_seconds"`
	// ResolutionSeconds is how far apart the readings are that the columns are made of: a
	// narrower column can be empty without being a gap.
	ResolutionSeconds float64  `json:"resolution_seconds"`
	Kept              Kept     `json:"kept"`
	Channels          []Series `json:"channels"`
	Happened

	coarse bool // some of it is kept by the minute alone, in columns that are narrower
}

// Kept says what the history holds.
type Kept struct {
	From time.Time `json:"from"`
	To   time.Time `json:"to"`
	// Partial says that the file cannot be read: there is only what is in memory.
	Partial bool `json:"partial"`
	// Unreadable counts damaged pieces that were left out.
	Unreadable uint64 `json:"unreadable"`
}

// Series is one channel: the least, the mean and the greatest reading of each column, null
// where there was none, and which share of its readings were good.
type Series struct {
	Channel string `json:"channel"`
	// Quantity is the channel with its unit, as a burn log has it: "flue_celsius".
	Quantity string `json:"quantity"`
	// Readings counts them, and GoodShare is which share of them were good.
	Readings  int     `json:"readings"`
	GoodShare Number  `json:"good_share"`
	Least     Numbers `json:"least"`
	Mean      Numbers `json:"mean"`
	Greatest  Numbers `json:"greatest"`
	Good      Numbers `json:"good"`

	columns []history.Column
	channel frame.Channel
}

// Number is null in JSON where it is none.
type Number float64

// MarshalJSON writes it.
func (n Number) MarshalJSON() ([]byte, error) { return appendNumber(nil, float64(n)), nil }

// Numbers are numbers.
type Numbers []float64

// MarshalJSON writes them.
func (all Numbers) MarshalJSON() ([]byte, error) {
	b := append(make([]byte, 0, 10*len(all)+2), '[')
	for i, v := range all {
		if i > 0 {
			b = append(b, ',')
		}
		b = appendNumber(b, v)
	}
	return append(b, ']'), nil
}

func appendNumber(b []byte, v float64) []byte {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return append(b, "null"...)
	}
	return strconv.AppendFloat(b, v, 'f', -1, 64)
}

// Look reduces a window. Of the channels only those are in it that are asked for.
func Look(ctx context.Context, a History, w Window, channels [frame.Count]bool, columns int) (Course, error) {
	c := Course{
		From: w.From.UTC(), To: w.To.UTC(), Columns: columns,
		ColumnSeconds: w.To.Sub(w.From).Seconds() / float64(columns), Channels: []Series{},
	}
	c.Kept.From, c.Kept.To = a.Span()
	var which []frame.Channel
	for _, ch := range frame.All() {
		if channels[ch] {
			which = append(which, ch)
		}
	}
	t, err := a.Trend(ctx, history.Window{From: w.From, To: w.To, Columns: columns, Channels: which})
	if err != nil {
		return c, err
	}
	if c.coarse, err = fill(ctx, a, &t); err != nil {
		return c, err
	}
	c.ResolutionSeconds = t.Resolution.Seconds()
	c.Kept.Partial, c.Kept.Unreadable = t.Partial, a.Unreadable()
	for i, ch := range which {
		c.Channels = append(c.Channels, seriesOf(ch, t.Series[i]))
	}
	c.Happened, err = WhatHappened(ctx, a, w)
	return c, err
}

func seriesOf(ch frame.Channel, columns []history.Column) Series {
	s := Series{Channel: ch.String(), Quantity: burnlog.Heading(ch), channel: ch, columns: columns}
	n := len(columns)
	all := make(Numbers, 4*n)
	s.Least, s.Mean, s.Greatest, s.Good = all[:n:n], all[n:2*n:2*n], all[2*n:3*n:3*n], all[3*n:]
	good := 0
	for i, col := range columns {
		s.Least[i], s.Mean[i], s.Greatest[i] = col.Min, col.Mean, col.Max
		s.Good[i] = share(col.Good, col.N)
		s.Readings += col.N
		good += col.Good
	}
	s.GoodShare = Number(share(good, s.Readings))
	return s
}

// share is NaN of nothing.
func share(part, whole int) float64 {
	if whole == 0 {
		return math.NaN()
	}
	return float64(part) / float64(whole)
}

// fill puts into columns that are narrower than a minute the minutes of which no rows are
// kept: each goes into the column that its middle lies in. It reports whether there were any.
func fill(ctx context.Context, a History, t *history.Trend) (coarse bool, err error) {
	if t.Resolution >= time.Minute {
		return false, nil
	}
	only, err := a.ByMinuteOnly(ctx, t.From, t.To)
	if err != nil || only == 0 {
		return false, err
	}
	n := int(t.To.Sub(t.From) / time.Minute)
	if n < 1 {
		return false, nil
	}
	m, err := a.Trend(ctx, history.Window{From: t.From, To: t.To, Columns: min(n, history.MostColumns), Channels: t.Channels})
	if err != nil {
		return false, err
	}
	for k := range m.Series {
		for i, c := range m.Series[k] {
			if into := &t.Series[k][(2*i+1)*t.Columns/(2*m.Columns)]; into.N == 0 {
				*into = c
			}
		}
	}
	return true, nil
}

// Hold is how far apart readings may be and still belong together: four missing ones are a
// gap, as everywhere. Period is how often the site is read.
func (c *Course) Hold(period time.Duration) time.Duration {
	resolution := time.Duration(c.ResolutionSeconds * float64(time.Second))
	hold := max(4*max(resolution, period), c.To.Sub(c.From)/time.Duration(c.Columns))
	if c.coarse {
		hold = max(hold, 5*time.Minute/2)
	}
	return hold
}

// series finds a channel.
func (c *Course) series(ch frame.Channel) *Series {
	i := slices.IndexFunc(c.Channels, func(s Series) bool { return s.channel == ch })
	if i < 0 {
		return nil
	}
	return &c.Channels[i]
}
