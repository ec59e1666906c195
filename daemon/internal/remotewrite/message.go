package remotewrite

import (
	"math"

	"github.com/golang/snappy"
	"google.golang.org/protobuf/encoding/protowire"
)

// sample is a value at a time, ms since 1970.
type sample struct {
	ms    int64
	value float64
}

// label is one of a series' labels; its name is one of them, "__name__".
type label struct{ name, value string }

// kind is what a series is, by the numbers that the protocol's version 2.0 gives them.
type kind uint64

const (
	untyped kind = 0
	counter kind = 1
	gauge   kind = 2
)

// series is samples in the order of time, with sorted labels.
type series struct {
	labels  []label
	kind    kind
	samples []sample
}

// ended is the value that says that a series has no more: the marker of staleness.
var ended = math.Float64frombits(0x7ff0000000000002)

// protocol is a version of the protocol.
type protocol struct {
	contentType, version string
	append               func(b []byte, all []series) []byte
}

var (
	v1 = &protocol{"application/x-protobuf", "0.1.0", appendV1}
	v2 = &protocol{"application/x-protobuf;proto=io.prometheus.write.v2.Request", "2.0.0", appendV2}
)

// body is a request's body.
func (p *protocol) body(all []series) []byte {
	return snappy.Encode(nil, p.append(nil, all))
}

// appendV1 writes prometheus.WriteRequest.
func appendV1(b []byte, all []series) []byte {
	for i := range all {
		var s []byte
		for _, l := range all[i].labels {
			var one []byte
			one = appendText(one, 1, l.name)
			one = appendText(one, 2, l.value)
			s = appendMessage(s, 1, one)
		}
		s = appendSamples(s, all[i].samples)
		b = appendMessage(b, 1, s)
	}
	return b
}

// appendV2 writes io.prometheus.write.v2.Request: every text once, the empty one first.
func appendV2(b []byte, all []series) []byte {
	refs := map[string]uint64{"": 0}
	b = appendText(b, 4, "")
	ref := func(s string) uint64 {
		n, known := refs[s]
		if !known {
			n = uint64(len(refs))
			refs[s] = n
			b = appendText(b, 4, s)
		}
		return n
	}
	// Of what may be told about a series its kind is; the text of help would double a request.
	var body []byte
	for i := range all {
		var s, names, about []byte
		for _, l := range all[i].labels {
			names = protowire.AppendVarint(names, ref(l.name))
			names = protowire.AppendVarint(names, ref(l.value))
		}
		s = appendMessage(s, 1, names)
		s = appendSamples(s, all[i].samples)
		about = appendNumber(about, 1, uint64(all[i].kind))
		s = appendMessage(s, 5, about)
		body = appendMessage(body, 5, s)
	}
	return append(b, body...)
}

// appendSamples writes samples, which both versions have alike.
func appendSamples(b []byte, samples []sample) []byte {
	var one []byte
	for _, v := range samples {
		one = protowire.AppendTag(one[:0], 1, protowire.Fixed64Type)
		one = protowire.AppendFixed64(one, math.Float64bits(v.value))
		one = appendNumber(one, 2, uint64(v.ms))
		b = appendMessage(b, 2, one)
	}
	return b
}

func appendText(b []byte, field protowire.Number, s string) []byte {
	return protowire.AppendString(protowire.AppendTag(b, field, protowire.BytesType), s)
}

func appendMessage(b []byte, field protowire.Number, m []byte) []byte {
	return protowire.AppendBytes(protowire.AppendTag(b, field, protowire.BytesType), m)
}

func appendNumber(b []byte, field protowire.Number, n uint64) []byte {
	return protowire.AppendVarint(protowire.AppendTag(b, field, protowire.VarintType), n)
}
