package history

import (
	"math"

	"fluewright/analysis/frame"
)

const (
	// mostRows is how many slots wait for a writer that does not come back from the kernel:
	// six hours at one a second.
	mostRows = 6 * 3600
	// mostEvents likewise.
	mostEvents = 10_000
)

// memory is what is not in the file, or only in its tail. Rows and events count on for ever:
// the first of those held has the number of those that went before.
type memory struct {
	rows    []row
	gone    int // rows that went before
	tailed  int // rows up to this number are in the file's tail
	sealed  []*block
	size    int // of sealed
	events  []event
	told    int // events that went before
	dropped uint64
	// lost counts events that were dropped.
	lost uint64
}

func (m *memory) addRow(r row) {
	m.rows = append(m.rows, r)
	if len(m.rows) > mostRows {
		m.dropRows(mostRows / 16)
		m.dropped += mostRows / 16
	}
}

// dropRows takes the oldest off. Readers may hold the old slice: it is not written again.
func (m *memory) dropRows(n int) {
	m.rows = append(make([]row, 0, len(m.rows)-n+16), m.rows[n:]...)
	m.gone += n
	m.tailed = max(m.tailed, m.gone)
}

func (m *memory) addEvent(e event) {
	e.no = int64(m.told + len(m.events))
	m.events = append(m.events, e)
	if len(m.events) > mostEvents {
		m.dropEvents(1)
		m.lost++
	}
}

func (m *memory) dropEvents(n int) {
	m.events = append(make([]event, 0, len(m.events)-n), m.events[n:]...)
	m.told += n
}

// seal puts blocks behind those that wait, and drops the oldest beyond limit bytes.
func (m *memory) seal(blocks []*block, limit int) {
	for _, b := range blocks {
		m.sealed = append(m.sealed, b)
		m.size += b.size()
	}
	for m.size > limit && len(m.sealed) > 1 {
		m.size -= m.sealed[0].size()
		m.dropped += uint64(m.sealed[0].rows)
		m.sealed = m.sealed[1:]
	}
}

// slot gathers the ticks of one period.
type slot struct {
	open  bool
	ms    int64
	ticks int
	sum   [frame.Count]float64
	n     [frame.Count]int
	// worst is the quality of those that were read, none of the last one that was not.
	worst, none [frame.Count]frame.Quality
}

// add takes a tick in.
func (s *slot) add(f *frame.Frame) {
	s.ticks++
	for c, in := range f.Inputs {
		if !in.Usable() || math.IsNaN(in.Value) || math.IsInf(in.Value, 0) {
			s.none[c] = min(in.Quality, frame.Stale)
			continue
		}
		s.sum[c] += in.Value
		if s.n[c]++; s.n[c] == 1 || in.Quality < s.worst[c] {
			s.worst[c] = in.Quality
		}
	}
}

// close gives the row of what was gathered: the mean of what was read, with the worst
// quality that it was read with. Where a tick had no reading the others are suspect.
func (s *slot) close() row {
	r := row{ms: s.ms, quality: s.none}
	for c, n := range s.n {
		if n == 0 {
			continue
		}
		r.counts[c] = count(frame.Channel(c), s.sum[c]/float64(n))
		r.quality[c] = s.worst[c]
		if n < s.ticks {
			r.quality[c] = frame.Suspect
		}
	}
	return r
}
