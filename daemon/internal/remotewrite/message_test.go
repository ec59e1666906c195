package remotewrite

import (
	"errors"
	"math"
	"testing"
	"time"

	"github.com/golang/snappy"
	"google.golang.org/protobuf/encoding/protowire"
	"pgregory.net/rapid"

	"fluewright/analysis/frame"
	"fluewright/daemon/internal/history"
)

var errForeign = errors.New("not as it is written")

// decode reads a message as a receiver does.
func decode(version string, body []byte) (all []series, err error) {
	b, err := snappy.Decode(nil, body)
	if err != nil {
		return nil, err
	}
	var symbols []string
	err = fields(b, func(n protowire.Number, m []byte, _ uint64) error {
		switch {
		case n == 4 && version == "2.0.0":
			symbols = append(symbols, string(m))
			return nil
		case n == 1 && version == "0.1.0", n == 5 && version == "2.0.0":
			s, err := decodeSeries(m, symbols)
			all = append(all, s)
			return err
		}
		return errForeign
	})
	return all, err
}

func decodeSeries(b []byte, symbols []string) (s series, err error) {
	return s, fields(b, func(n protowire.Number, m []byte, _ uint64) error {
		switch {
		case n == 1 && symbols == nil:
			var l label
			s.labels = append(s.labels, l)
			return fields(m, func(n protowire.Number, m []byte, _ uint64) error {
				last := &s.labels[len(s.labels)-1]
				if n == 1 {
					last.name = string(m)
				} else {
					last.value = string(m)
				}
				return nil
			})
		case n == 1:
			for len(m) > 0 {
				name, a := protowire.ConsumeVarint(m)
				value, b := protowire.ConsumeVarint(m[max(a, 0):])
				if a < 0 || b < 0 || max(name, value) >= uint64(len(symbols)) {
					return errForeign
				}
				s.labels = append(s.labels, label{symbols[name], symbols[value]})
				m = m[a+b:]
			}
		case n == 2:
			var v sample
			err := fields(m, func(n protowire.Number, _ []byte, x uint64) error {
				if n == 1 {
					v.value = math.Float64frombits(x)
				} else {
					v.ms = int64(x)
				}
				return nil
			})
			s.samples = append(s.samples, v)
			return err
		case n == 5:
			return fields(m, func(n protowire.Number, _ []byte, x uint64) error {
				if n == 1 {
					s.kind = kind(x)
				}
				return nil
			})
		default:
			return errForeign
		}
		return nil
	})
}

func fields(b []byte, do func(protowire.Number, []byte, uint64) error) error {
	for len(b) > 0 {
		n, typ, used := protowire.ConsumeTag(b)
		if used < 0 {
			return errForeign
		}
		b = b[used:]
		var m []byte
		var x uint64
		switch typ {
		case protowire.BytesType:
			m, used = protowire.ConsumeBytes(b)
		case protowire.VarintType:
			x, used = protowire.ConsumeVarint(b)
		case protowire.Fixed64Type:
			x, used = protowire.ConsumeFixed64(b)
		default:
			return errForeign
		}
		if used < 0 {
			return errForeign
		}
		if err := do(n, m, x); err != nil {
			return err
		}
		b = b[used:]
	}
	return nil
}

// Bytes by hand from the message's definition.
func TestBytes(t *testing.T) {
	all := []series{{labels: []label{{"__name__", "a"}}, kind: gauge, samples: []sample{{1, 1}}}}
	one := "\x0a\x0d\x0a\x08__name__\x12\x01a\x12\x0b\x09\x00\x00\x00\x00\x00\x00\xf0\x3f\x10\x01"
	if got, want := string(appendV1(nil, all)), "\x0a"+string(rune(len(one)))+one; got != want {
		t.Errorf("1.0: %q, want %q", got, want)
	}
	two := "\x0a\x02\x01\x02\x12\x0b\x09\x00\x00\x00\x00\x00\x00\xf0\x3f\x10\x01\x2a\x02\x08\x02"
	want := "\x22\x00\x22\x08__name__\x22\x01a\x2a" + string(rune(len(two))) + two
	if got := string(appendV2(nil, all)); got != want {
		t.Errorf("2.0: %q, want %q", got, want)
	}
}

// What rows become: samples, ends of series, qualities.
func TestMoments(t *testing.T) {
	start := time.Date(2026, 11, 26, 12, 0, 0, 0, time.UTC)
	row := func(run int64, at time.Duration, flue float64) history.Followed {
		f := history.Followed{Position: history.Position{Run: run, MS: at.Milliseconds()}}
		f.At, f.Sure = start.Add(time.Duration(run)*time.Hour+at), true
		for c := range f.Values {
			f.Values[c] = math.NaN()
		}
		f.Quality[frame.Flue], f.Values[frame.Flue] = frame.Good, flue
		if math.IsNaN(flue) {
			f.Quality[frame.Flue] = frame.Faulty
		}
		return f
	}
	none := math.NaN()
	l := newLayout("cellar-7", [frame.Count]bool{frame.Flue: true}, 10*time.Second)
	take := func(from cursor, rows ...history.Followed) *batch {
		b := &batch{next: from}
		l.take(b, rows, start.Add(-time.Hour).UnixMilli())
		return b
	}
	times := func(b *batch) (all []time.Duration) {
		for _, m := range b.moments {
			all = append(all, time.UnixMilli(m.ms).Sub(start.Add(time.Hour)))
		}
		return all
	}
	s := time.Second

	b := take(cursor{}, row(1, 0, 200), row(1, s, 201), row(1, 9*s, 202), row(1, 13*s, none), row(1, 21*s, 203), row(1, 61*s, 204))
	if got := times(b); len(got) != 4 || got[1] != 13*s || got[2] != 21*s {
		t.Fatalf("moments at %v", got)
	}
	for i, want := range []struct {
		n     int
		value uint64
	}{{6, math.Float64bits(200)}, {6, math.Float64bits(ended)}, {1, math.Float64bits(203)}, {6, math.Float64bits(204)}} {
		if m := b.moments[i]; len(m.samples) != want.n || math.Float64bits(m.samples[0].value) != want.value {
			t.Errorf("moment %d: %v", i, m)
		}
	}
	// The same from the middle, as after a power cut.
	if again := take(cursor{history.Position{Run: 1, MS: 9000}, start.Add(time.Hour + 9*s).UnixMilli()}, row(1, 13*s, none), row(1, 21*s, 203)); len(again.moments) != 2 {
		t.Errorf("again: %v", times(again))
	}
	gone := take(b.next, row(2, 0, 204))
	if got := times(gone); len(got) != 2 || got[0] != 71*s || math.Float64bits(gone.moments[0].samples[0].value) != math.Float64bits(ended) {
		t.Errorf("a gap is %v", got)
	}
	lost := row(2, 0, 205)
	lost.Sure = false
	if b := take(cursor{}, lost, row(3, 0, 206)); b.noTime != 1 || len(b.moments) != 1 {
		t.Errorf("without a time: %+v", b)
	}
	lost.Unsettled = true
	if b := take(cursor{}, lost, row(3, 0, 206)); !b.waits || len(b.moments) != 0 || b.next != (cursor{}) {
		t.Errorf("before it has a time: %+v", b)
	}
}

// What is sent depends on the rows alone: in whatever batches, and begun again at whatever
// rows, the same samples come, in the order of time.
func TestTheSameSamplesWhateverHappens(t *testing.T) {
	start := time.Date(2026, 11, 26, 12, 0, 0, 0, time.UTC)
	rapid.Check(t, func(t *rapid.T) {
		interval := rapid.SampledFrom([]time.Duration{time.Second, 5 * time.Second, 10 * time.Second, time.Minute}).Draw(t, "interval")
		l := newLayout("cellar-7", fitted, interval)
		var rows []history.Followed
		run, ms, wall := int64(1), int64(0), start.UnixMilli()
		for range rapid.IntRange(1, 400).Draw(t, "rows") {
			step := rapid.SampledFrom([]int64{1000, 1000, 1000, 3000, 60_000, 200_000, 3_600_000}).Draw(t, "step")
			ms, wall = ms+step, wall+step
			if rapid.IntRange(0, 50).Draw(t, "restart") == 0 {
				run, ms = run+1, 0
			}
			f := history.Followed{Position: history.Position{Run: run, Identity: "x", MS: ms}}
			f.At, f.Sure = time.UnixMilli(wall), rapid.IntRange(0, 9).Draw(t, "sure") > 0
			for c := range f.Values {
				f.Values[c] = math.NaN()
				if f.Quality[c] = frame.Quality(rapid.IntRange(0, int(frame.Good)).Draw(t, "quality")); f.Quality[c] >= frame.Suspect {
					f.Values[c] = float64(wall % 1000)
				}
			}
			rows = append(rows, f)
		}
		type point struct {
			ms     int64
			series int
			bits   uint64
		}
		var whole []point
		cursors := []cursor{{}}
		for at := (cursor{}); len(whole) == 0 || at.Position != rows[len(rows)-1].Position; {
			b := &batch{next: at}
			n := 0
			for n < len(rows) && (rows[n].Position.Run < at.Run || rows[n].Position.Run == at.Run && rows[n].Position.MS <= at.MS) {
				n++
			}
			if n == len(rows) {
				break
			}
			l.take(b, rows[n:min(len(rows), n+rapid.IntRange(1, 50).Draw(t, "batch"))], 0)
			for _, m := range b.moments {
				for _, s := range m.samples {
					whole = append(whole, point{m.ms, s.series, math.Float64bits(s.value)})
				}
			}
			at = b.next
			cursors = append(cursors, at)
		}
		for i := 1; i < len(whole); i++ {
			if whole[i].ms < whole[i-1].ms {
				t.Fatalf("%d ms after %d ms", whole[i].ms, whole[i-1].ms)
			}
		}
		again := rapid.SampledFrom(cursors).Draw(t, "again")
		b := &batch{next: again}
		n := 0
		for n < len(rows) && (rows[n].Position.Run < again.Run || rows[n].Position.Run == again.Run && rows[n].Position.MS <= again.MS) {
			n++
		}
		l.take(b, rows[n:], 0)
		known := map[point]bool{}
		for _, p := range whole {
			known[p] = true
		}
		for _, m := range b.moments {
			for _, s := range m.samples {
				if p := (point{m.ms, s.series, math.Float64bits(s.value)}); !known[p] {
					t.Fatalf("begun again there is %+v", p)
				}
			}
		}
	})
}

// Whatever a receiver answers, it is one of the answers, and asks for no more than an hour.
func FuzzAnswer(f *testing.F) {
	f.Add(204, "", "", "")
	f.Add(400, "7", "3", "out of order sample")
	f.Add(500, "-1", "Thu, 26 Nov 2026 12:00:30 GMT", "too old sample\n")
	f.Fuzz(func(t *testing.T, status int, stored, after, text string) {
		h := map[string][]string{"X-Prometheus-Remote-Write-Samples-Written": {stored}, "Retry-After": {after}}
		for _, p := range []*protocol{v1, v2} {
			a := read(status, h, text, p, time.Now())
			if a.pause < 0 || a.pause > longestPause || a.stored < -1 || (a.why == nil) != (a.verdict == taken) {
				t.Errorf("%+v", a)
			}
			if _, known := results[a.verdict]; !known {
				t.Errorf("a verdict without a name: %+v", a)
			}
		}
	})
}
