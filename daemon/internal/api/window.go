package api

import (
	"fmt"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"time"

	"fluewright/analysis/frame"
	"fluewright/daemon/internal/history"
	"fluewright/daemon/internal/trend"
)

// question is what a request asks for.
type question struct {
	pick     trend.Pick
	channels []frame.Channel // none: those that the site has
	columns  int
	format   string
	every    time.Duration
}

const defaultColumns = 800

// read reads a request's parameters. It is strict: one that is misspelt would bring another
// window than the one asked for.
func read(v url.Values, allowed ...string) (q question, err error) {
	q.columns = defaultColumns
	for name, all := range v {
		if !slices.Contains(allowed, name) {
			return q, fmt.Errorf("there is no %.20q: want %s", name, strings.Join(allowed, ", "))
		}
		if len(all) != 1 {
			return q, fmt.Errorf("%q is given more than once", name)
		}
		text := all[0]
		switch name {
		case "from":
			q.pick.From, err = moment(text)
		case "to":
			q.pick.To, err = moment(text)
		case "since":
			if q.pick.Since, err = time.ParseDuration(text); err != nil || q.pick.Since <= 0 {
				err = fmt.Errorf("since is %.20q: want a length of time as 48h", text)
			}
		case "burn":
			q.pick.Burn = text
			if len(text) > 20 {
				err = fmt.Errorf("burn is too long: want \"last\" or a number")
			}
		case "columns":
			if q.columns, err = strconv.Atoi(text); err != nil || q.columns < 1 || q.columns > history.MostColumns {
				err = fmt.Errorf("columns is %.20q: want 1 to %d", text, history.MostColumns)
			}
		case "channels":
			q.channels, err = channels(text)
		case "format":
			q.format = text
		case "every":
			if q.every, err = time.ParseDuration(text); err != nil || q.every < time.Second || q.every > 24*time.Hour {
				err = fmt.Errorf("every is %.20q: want a length of time from 1s to 24h, as 1m", text)
			}
		}
		if err != nil {
			return q, err
		}
	}
	return q, nil
}

// The years that a moment may lie in: those that RFC 3339 writes.
const firstUnix, lastUnix = -62135596800, 253402300799

// moment reads RFC 3339, or seconds since 1970.
func moment(text string) (time.Time, error) {
	if t, err := time.Parse(time.RFC3339, text); err == nil {
		return t.UTC(), nil
	}
	s, err := strconv.ParseFloat(text, 64)
	if err != nil || !(s >= firstUnix && s <= lastUnix) {
		return time.Time{}, fmt.Errorf("%.40q is no time: want one as 2026-01-31T21:00:00Z, or seconds since 1970", text)
	}
	return time.UnixMilli(int64(s * 1000)).UTC(), nil
}

func channels(text string) (all []frame.Channel, err error) {
	for name := range strings.SplitSeq(text, ",") {
		c, ok := frame.Parse(strings.TrimSpace(name))
		if !ok {
			return nil, fmt.Errorf("%.20q is no channel: want some of %v", name, frame.All())
		}
		all = append(all, c)
	}
	return all, nil
}

// fitted are the channels asked for, or those of the site.
func (a *API) fitted(q *question) (some [frame.Count]bool) {
	if len(q.channels) == 0 {
		return a.o.Site.Config.Analysis.Fitted
	}
	for _, c := range q.channels {
		some[c] = true
	}
	return some
}
