package parquet

import (
	"bytes"
	"compress/gzip"
	"encoding/binary"
	"fmt"
	"io"
	"math"
)

// Numbers of parquet.thrift.
const (
	physicalInt64  = 2
	physicalDouble = 5

	required = 0
	optional = 1

	convertedTimestampMillis = 9

	encodingPlain = 0
	encodingRLE   = 3

	codecGzip = 2

	pageData = 0
)

const (
	magic = "PAR1"
	// groupRows is how many rows are in memory at once, and in a row group.
	groupRows = 1 << 16
)

// Writer writes a table row by row. Nothing is whole before Close.
type Writer struct {
	out     io.Writer
	at      int64 // bytes written
	names   []string
	meta    map[string]string
	keys    []string
	times   []int64
	columns [][]float64
	groups  []group
	rows    int64
	err     error
}

type group struct {
	rows   int64
	chunks []chunk // time first
}

type chunk struct {
	offset, raw, packed, values int64
}

// NewWriter begins a table with a column "time" (ms since 1970, UTC) and the named columns.
// Pairs of keys and values are kept in the file's own description.
func NewWriter(out io.Writer, names []string, pairs ...string) *Writer {
	w := &Writer{out: out, names: names, columns: make([][]float64, len(names)), meta: map[string]string{}}
	for i := 0; i+1 < len(pairs); i += 2 {
		w.keys = append(w.keys, pairs[i])
		w.meta[pairs[i]] = pairs[i+1]
	}
	w.write([]byte(magic))
	return w
}

func (w *Writer) write(b []byte) {
	if w.err != nil {
		return
	}
	if _, err := w.out.Write(b); err != nil {
		w.err = fmt.Errorf("write Parquet: %w", err)
	}
	w.at += int64(len(b))
}

// Row adds one row; NaN is no value. There are as many values as names.
func (w *Writer) Row(ms int64, values []float64) error {
	w.times = append(w.times, ms)
	for i := range w.columns {
		w.columns[i] = append(w.columns[i], values[i])
	}
	if len(w.times) == groupRows {
		w.flush()
	}
	return w.err
}

// flush writes a row group.
func (w *Writer) flush() {
	n := len(w.times)
	if n == 0 || w.err != nil {
		return
	}
	g := group{rows: int64(n)}
	plain := make([]byte, 0, 8*n)
	for _, v := range w.times {
		plain = binary.LittleEndian.AppendUint64(plain, uint64(v))
	}
	g.chunks = append(g.chunks, w.page(n, plain))
	for i, column := range w.columns {
		plain = levels(plain[:0], column)
		for _, v := range column {
			if !math.IsNaN(v) {
				plain = binary.LittleEndian.AppendUint64(plain, math.Float64bits(v))
			}
		}
		g.chunks = append(g.chunks, w.page(n, plain))
		w.columns[i] = column[:0]
	}
	w.times = w.times[:0]
	w.groups = append(w.groups, g)
	w.rows += int64(n)
}

// levels says which values are there: bits of one, packed by eight, behind the length of it
// all (RLE/bit-packing hybrid, here one bit-packed run).
func levels(b []byte, column []float64) []byte {
	octets := (len(column) + 7) / 8
	run := binary.AppendUvarint(nil, uint64(octets)<<1|1)
	b = binary.LittleEndian.AppendUint32(b, uint32(len(run)+octets))
	b = append(b, run...)
	start := len(b)
	b = append(b, make([]byte, octets)...)
	for i, v := range column {
		if !math.IsNaN(v) {
			b[start+i/8] |= 1 << (i % 8)
		}
	}
	return b
}

// page writes a column chunk of one page.
func (w *Writer) page(n int, plain []byte) chunk {
	var packed bytes.Buffer
	z := gzip.NewWriter(&packed)
	_, err := z.Write(plain)
	if closed := z.Close(); err == nil {
		err = closed
	}
	if err != nil && w.err == nil { // never: it writes to memory
		w.err = fmt.Errorf("pack Parquet page: %w", err)
	}
	var t thrift
	t.begin(0) // PageHeader
	t.i32(1, pageData)
	t.i32(2, int32(len(plain)))
	t.i32(3, int32(packed.Len()))
	t.begin(5) // DataPageHeader
	t.i32(1, int32(n))
	t.i32(2, encodingPlain)
	t.i32(3, encodingRLE) // definition levels
	t.i32(4, encodingRLE) // repetition levels: there are none
	t.end()
	t.end()
	c := chunk{offset: w.at, values: int64(n)}
	w.write(t.b)
	w.write(packed.Bytes())
	c.raw = int64(len(t.b) + len(plain))
	c.packed = int64(len(t.b) + packed.Len())
	return c
}

// Close writes what is left and the description. The writer below stays open.
func (w *Writer) Close() error {
	w.flush()
	footer := w.footer()
	w.write(footer)
	w.write(binary.LittleEndian.AppendUint32(nil, uint32(len(footer))))
	w.write([]byte(magic))
	return w.err
}

// footer is FileMetaData.
func (w *Writer) footer() []byte {
	var t thrift
	t.begin(0)
	t.i32(1, 1) // version
	t.list(2, typeStruct, 2+len(w.names))
	t.begin(0)
	t.text(4, "schema")
	t.i32(5, int32(1+len(w.names)))
	t.end()
	t.begin(0)
	t.i32(1, physicalInt64)
	t.i32(3, required)
	t.text(4, "time")
	t.i32(6, convertedTimestampMillis)
	t.begin(10) // LogicalType
	t.begin(8)  // TIMESTAMP
	t.truth(1, true)
	t.begin(2) // TimeUnit
	t.begin(1) // MILLIS
	t.end()
	t.end()
	t.end()
	t.end()
	t.end()
	for _, name := range w.names {
		t.begin(0)
		t.i32(1, physicalDouble)
		t.i32(3, optional)
		t.text(4, name)
		t.end()
	}
	t.i64(3, w.rows)
	t.list(4, typeStruct, len(w.groups))
	for _, g := range w.groups {
		w.describe(&t, g)
	}
	if len(w.keys) > 0 {
		t.list(5, typeStruct, len(w.keys))
		for _, k := range w.keys {
			t.begin(0)
			t.text(1, k)
			t.text(2, w.meta[k])
			t.end()
		}
	}
	t.text(6, "fluewright")
	t.end()
	return t.b
}

// describe writes a RowGroup.
func (w *Writer) describe(t *thrift, g group) {
	t.begin(0)
	t.list(1, typeStruct, len(g.chunks))
	total := int64(0)
	for i, c := range g.chunks {
		name, kind := "time", int32(physicalInt64)
		if i > 0 {
			name, kind = w.names[i-1], physicalDouble
		}
		total += c.raw
		t.begin(0) // ColumnChunk
		t.i64(2, c.offset)
		t.begin(3) // ColumnMetaData
		t.i32(1, kind)
		t.list(2, typeI32, 2)
		t.b = binary.AppendVarint(t.b, encodingPlain)
		t.b = binary.AppendVarint(t.b, encodingRLE)
		t.list(3, typeBinary, 1)
		t.bare(name)
		t.i32(4, codecGzip)
		t.i64(5, c.values)
		t.i64(6, c.raw)
		t.i64(7, c.packed)
		t.i64(9, c.offset)
		t.end()
		t.end()
	}
	t.i64(2, total)
	t.i64(3, g.rows)
	t.end()
}
