package remotewrite

import (
	"time"

	"fluewright/analysis/frame"
	"fluewright/daemon/internal/history"
)

const (
	// mostSamples bounds a batch: some 60 KB before compression, which all receivers take.
	mostSamples = 2000
	// gap is how far apart rows are that have a gap in between: more than any period of the
	// rows, and less than the 5 min for which a receiver would go on showing the last value.
	gap = 2 * time.Minute
	// restated is how often the quality of a good reading is said again: within those 5 min.
	restated = time.Minute
)

// cursor is how far a destination has come.
type cursor struct {
	history.Position
	// Wall is when its row was, ms since 1970; 0 if no row with a time was passed yet.
	Wall int64 `json:"wall_ms"`
}

// moment is what is sent of one time: for each series one sample at most.
type moment struct {
	ms      int64
	samples []reading
}

type reading struct {
	series int // its number in the layout
	value  float64
}

// batch is what goes into one request, and where the destination is when it has it.
type batch struct {
	moments []moment
	samples int
	next    cursor
	// skipped counts samples that will never be sent: no time for them is known, or they are
	// older than the receiver is to get.
	noTime, tooOld int
	// waits says that there is a row whose time is not known yet.
	waits bool
}

func (b *batch) full() bool { return b.samples >= mostSamples }

// layout is the series that rows are made into.
type layout struct {
	series   []series // without samples
	channels []frame.Channel
	interval int64 // ms
}

func newLayout(site string, fitted [frame.Count]bool, interval time.Duration) *layout {
	l := &layout{interval: interval.Milliseconds()}
	for _, c := range frame.All() {
		if !fitted[c] {
			continue
		}
		l.channels = append(l.channels, c)
		switch c {
		case frame.Draft:
			l.add("fluewright_draft_pascals", label{"site", site})
		case frame.Ambient:
			l.add("fluewright_ambient_pressure_pascals", label{"site", site})
		default:
			l.add("fluewright_temperature_celsius", label{"channel", c.String()}, label{"site", site})
		}
		for q := frame.Absent; q <= frame.Good; q++ {
			l.add("fluewright_channel_quality", label{"channel", c.String()}, label{"quality", q.String()}, label{"site", site})
		}
	}
	return l
}

// perChannel is how many series a channel has: its value, and one a quality.
const perChannel = 1 + int(frame.Good-frame.Absent) + 1

func (l *layout) add(name string, labels ...label) {
	l.series = append(l.series, series{labels: append([]label{{"__name__", name}}, labels...), kind: gauge})
}

// take puts rows into a batch that begins behind its next cursor, until it is full or a row
// must wait. Nothing before oldest is sent, ms since 1970.
func (l *layout) take(b *batch, rows []history.Followed, oldest int64) {
	for i := range rows {
		if b.full() {
			return
		}
		r, at := &rows[i], rows[i].At.UnixMilli()
		if r.Unsettled {
			b.waits = true
			return
		}
		before := b.next
		b.next.Position = r.Position
		if !r.Sure {
			b.noTime += len(l.channels)
			continue
		}
		b.next.Wall = at
		sameRun := before.Run == r.Position.Run
		if sameRun && !passes(l.interval, before.MS, r.Position.MS) {
			continue
		}
		if at < oldest {
			b.tooOld += len(l.channels)
			continue
		}
		if end := before.Wall + l.interval; before.Wall > 0 && end >= oldest && at-end > gap.Milliseconds() {
			b.put(l.silence(end))
		}
		restate := !sameRun || passes(restated.Milliseconds(), before.MS, r.Position.MS)
		b.put(l.moment(at, &r.Row, restate))
	}
}

// passes reports whether a new interval has begun since before.
func passes(interval, before, now int64) bool {
	return before < 0 || now/interval != before/interval
}

func (b *batch) put(m moment) {
	b.moments = append(b.moments, m)
	b.samples += len(m.samples)
}

// silence ends all series.
func (l *layout) silence(ms int64) moment {
	m := moment{ms: ms}
	for i := range l.series {
		m.samples = append(m.samples, reading{i, ended})
	}
	return m
}

// moment is a row. What is not good is said each time, what is good only now and then.
func (l *layout) moment(ms int64, r *history.Row, restate bool) moment {
	m := moment{ms: ms}
	for i, c := range l.channels {
		first, q := i*perChannel, r.Quality[c]
		if r.Values.Has(c) {
			m.samples = append(m.samples, reading{first, r.Values[c]})
		} else {
			m.samples = append(m.samples, reading{first, ended})
		}
		if q == frame.Good && !restate {
			continue
		}
		for other := frame.Absent; other <= frame.Good; other++ {
			v := 0.0
			if other == q {
				v = 1
			}
			m.samples = append(m.samples, reading{first + 1 + int(other-frame.Absent), v})
		}
	}
	return m
}

// gather sorts moments by series, and counts the samples.
func (l *layout) gather(moments []moment) (all []series, n int) {
	byNumber := make([][]sample, len(l.series))
	for _, m := range moments {
		for _, s := range m.samples {
			byNumber[s.series] = append(byNumber[s.series], sample{m.ms, s.value})
			n++
		}
	}
	for i, samples := range byNumber {
		if len(samples) > 0 {
			s := l.series[i]
			s.samples = samples
			all = append(all, s)
		}
	}
	return all, n
}
