package parquet

import "encoding/binary"

// Types of Thrift's compact protocol.
const (
	typeTrue   = 1
	typeFalse  = 2
	typeI32    = 5
	typeI64    = 6
	typeBinary = 8
	typeList   = 9
	typeStruct = 12
)

// thrift writes one structure after Thrift's compact protocol. Fields come in the order of
// their numbers.
type thrift struct {
	b    []byte
	last []int16 // the number of the last field of each structure that is open
}

func (t *thrift) header(field int16, kind byte) {
	n := len(t.last) - 1
	delta := field - t.last[n]
	t.last[n] = field
	if delta > 0 && delta <= 15 {
		t.b = append(t.b, byte(delta)<<4|kind)
		return
	}
	t.b = binary.AppendVarint(append(t.b, kind), int64(field))
}

// begin opens a structure: a field's, or with field 0 one that stands in a list or alone.
func (t *thrift) begin(field int16) {
	if field != 0 {
		t.header(field, typeStruct)
	}
	t.last = append(t.last, 0)
}

func (t *thrift) end() {
	t.b = append(t.b, 0)
	t.last = t.last[:len(t.last)-1]
}

func (t *thrift) list(field int16, kind byte, n int) {
	t.header(field, typeList)
	if n < 15 {
		t.b = append(t.b, byte(n)<<4|kind)
		return
	}
	t.b = binary.AppendUvarint(append(t.b, 0xf0|kind), uint64(n))
}

func (t *thrift) i32(field int16, v int32) {
	t.header(field, typeI32)
	t.b = binary.AppendVarint(t.b, int64(v))
}

func (t *thrift) i64(field int16, v int64) {
	t.header(field, typeI64)
	t.b = binary.AppendVarint(t.b, v)
}

func (t *thrift) truth(field int16, v bool) {
	kind := byte(typeFalse)
	if v {
		kind = typeTrue
	}
	t.header(field, kind)
}

func (t *thrift) text(field int16, s string) {
	t.header(field, typeBinary)
	t.bare(s)
}

// bare is an element of a list of texts.
func (t *thrift) bare(s string) {
	t.b = binary.AppendUvarint(t.b, uint64(len(s)))
	t.b = append(t.b, s...)
}
