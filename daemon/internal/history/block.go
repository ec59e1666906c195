package history

import (
	"encoding/binary"
	"slices"
	"time"

	"fluewright/analysis/frame"
	"fluewright/daemon/internal/history/chunk"
)

// blockSpan is what one chunk covers, from a multiple of it on the boot's clock on. A
// minute never lies in two.
const blockSpan = 10 * time.Minute

const blockMS = int64(blockSpan / time.Millisecond)

// row is one slot of the history's period: of all channels the mean over its ticks.
type row struct {
	ms      int64 // of its beginning, on the boot's clock
	counts  [frame.Count]int32
	quality [frame.Count]frame.Quality
}

func (r *row) block() int64 { return r.ms / blockMS * blockMS }

// sameBlock is how many of rows are in the block of the first.
func sameBlock(rows []row) int {
	n := 0
	for n < len(rows) && rows[n].block() == rows[0].block() {
		n++
	}
	return n
}

// block is ten minutes, packed.
type block struct {
	start   int64 // ms
	end     int64 // of its last row
	rows    int
	bodies  [frame.Count][]byte // nil for a channel that is not there
	sums    stats
	minutes []minute
}

type minute struct {
	no   int64
	rows int
	stats
}

// size is what the block takes in memory, about.
func (b *block) size() int {
	n := 1024
	for _, body := range b.bodies {
		n += len(body)
	}
	return n + len(b.minutes)*int(frame.Count)*40
}

// samplesOf takes one channel out of rows. There is none if it is absent throughout.
func samplesOf(dst []chunk.Sample, rows []row, c frame.Channel, start int64) []chunk.Sample {
	there := false
	for i := range rows {
		s := chunk.Sample{At: rows[i].ms - start, Quality: rows[i].quality[c]}
		if s.Usable() {
			s.Count = int64(rows[i].counts[c])
		}
		there = there || s.Quality != frame.Absent
		dst = append(dst, s)
	}
	if !there {
		return dst[:0]
	}
	return dst
}

// pack makes a block of its rows. Rows rise and counts have 32 bits: a chunk takes them.
func pack(rows []row) *block {
	b := &block{start: rows[0].block(), end: rows[len(rows)-1].ms, rows: len(rows)}
	samples := make([]chunk.Sample, 0, len(rows))
	for c := range b.bodies {
		samples = samplesOf(samples[:0], rows, frame.Channel(c), b.start)
		if len(samples) == 0 {
			continue
		}
		body, err := chunk.Append(nil, samples)
		if err != nil {
			panic(err)
		}
		b.bodies[c], b.sums[c] = slices.Clip(body), chunk.Sum(samples)
	}
	for i := range rows {
		no := rows[i].ms / minutes.span.Milliseconds()
		if n := len(b.minutes); n == 0 || b.minutes[n-1].no != no {
			b.minutes = append(b.minutes, minute{no: no})
		}
		m := &b.minutes[len(b.minutes)-1]
		m.rows++
		for c := range m.stats {
			m.stats[c].Add(int64(rows[i].counts[c]), rows[i].quality[c])
		}
	}
	return b
}

// unpack gives a block's rows back.
func (b *block) unpack() []row {
	rows, _ := rowsOf(b.bodies, b.start)
	return rows
}

// rowsOf joins the chunks of channels to rows, and returns how many of them are damaged and
// left out. A channel without a sample at a moment at which another has one is absent there.
func rowsOf(bodies [frame.Count][]byte, start int64) (rows []row, damaged uint64) {
	var samples []chunk.Sample
	for c, body := range bodies {
		if body == nil {
			continue
		}
		var err error
		if samples, err = chunk.Decode(samples[:0], body); err != nil {
			damaged++
			continue
		}
		at := 0
		for _, s := range samples {
			ms := start + s.At
			for at < len(rows) && rows[at].ms < ms {
				at++
			}
			if at == len(rows) || rows[at].ms != ms {
				rows = slices.Insert(rows, at, row{ms: ms})
			}
			rows[at].counts[c], rows[at].quality[c] = int32(s.Count), s.Quality
		}
	}
	return rows, damaged
}

// packTail makes one tail row of rows: for each channel that is there its number, the
// chunk's length and the chunk, whose start is the first row's.
func packTail(rows []row) []byte {
	var body, one []byte
	var samples []chunk.Sample
	for c := range frame.Count {
		samples = samplesOf(samples[:0], rows, c, rows[0].ms)
		if len(samples) == 0 {
			continue
		}
		var err error
		if one, err = chunk.Append(one[:0], samples); err != nil {
			panic(err)
		}
		body = append(body, byte(c))
		body = binary.AppendUvarint(body, uint64(len(one)))
		body = append(body, one...)
	}
	return body
}

// unpackTail gives a tail row's rows back, and how many chunks in it are damaged.
func unpackTail(body []byte, start int64) (rows []row, damaged uint64) {
	var bodies [frame.Count][]byte
	for len(body) > 0 {
		c := frame.Channel(body[0])
		n, used := binary.Uvarint(body[1:])
		body = body[1:]
		if c >= frame.Count || used <= 0 || n > uint64(len(body)-used) {
			damaged++
			break
		}
		bodies[c] = body[used : used+int(n)]
		body = body[used+int(n):]
	}
	rows, more := rowsOf(bodies, start)
	return rows, damaged + more
}
