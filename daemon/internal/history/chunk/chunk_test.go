package chunk_test

import (
	"bytes"
	"encoding/hex"
	"errors"
	"math"
	"math/rand/v2"
	"os"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"fluewright/analysis/frame"
	"fluewright/daemon/internal/history/chunk"
)

// anySamples draws chunks as they come and as they should not: gaps, jitter, faults, jumps.
func anySamples(t *rapid.T) []chunk.Sample {
	n := rapid.IntRange(0, 300).Draw(t, "n")
	wild := rapid.Bool().Draw(t, "wild")
	grid := rapid.SampledFrom([]int64{1, 4, 25}).Draw(t, "grid")
	at, count, q := rapid.Int64Range(0, 5000).Draw(t, "first"), int64(4800), frame.Good
	var all []chunk.Sample
	for range n {
		switch rapid.IntRange(0, 20).Draw(t, "event") {
		case 0:
			q = frame.Quality(rapid.IntRange(0, int(frame.Good)).Draw(t, "quality"))
		case 1:
			at += rapid.Int64Range(1, 600_000).Draw(t, "gap")
		}
		count += grid * int64(rapid.IntRange(-3, 3).Draw(t, "delta"))
		if wild {
			count = rapid.Int64Range(-chunk.MaxCount, chunk.MaxCount).Draw(t, "count")
		}
		s := chunk.Sample{At: at, Quality: q}
		if s.Usable() {
			s.Count = count
		}
		all = append(all, s)
		at += 1000
	}
	return all
}

func TestRoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		want := anySamples(t)
		b, err := chunk.Append([]byte("before"), want)
		if err != nil {
			t.Fatal(err)
		}
		got, err := chunk.Decode(nil, b[len("before"):])
		if err != nil {
			t.Fatal(err)
		}
		if d := cmp.Diff(want, got); d != "" {
			t.Fatal(d)
		}
	})
}

func TestExtremes(t *testing.T) {
	most := make([]chunk.Sample, chunk.MaxSamples)
	for i := range most {
		most[i] = chunk.Sample{At: int64(i), Quality: frame.Good, Count: chunk.MaxCount * int64(i%2*2-1)}
	}
	for name, want := range map[string][]chunk.Sample{
		"none":           nil,
		"only faults":    {{At: 0, Quality: frame.Faulty}, {At: 1000, Quality: frame.Stale}},
		"one":            {{At: chunk.MaxAt, Count: -chunk.MaxCount, Quality: frame.Suspect}},
		"as many as can": most,
	} {
		b, err := chunk.Append(nil, want)
		if err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		got, err := chunk.Decode(nil, b)
		if err != nil || !cmp.Equal(want, got) {
			t.Errorf("%s: %v", name, err)
		}
	}
}

func TestRefuses(t *testing.T) {
	for name, s := range map[string][]chunk.Sample{
		"time that stands": {{At: 5}, {At: 5}},
		"time before":      {{At: -1}},
		"late":             {{At: chunk.MaxAt + 1}},
		"large":            {{Count: chunk.MaxCount + 1, Quality: frame.Good}},
		"small":            {{Count: math.MinInt64, Quality: frame.Good}},
		"quality":          {{Quality: frame.Good + 1}},
		"many":             make([]chunk.Sample, chunk.MaxSamples+1),
	} {
		if b, err := chunk.Append([]byte{7}, s); err == nil || len(b) != 1 {
			t.Errorf("%s: packed into %d bytes, %v", name, len(b), err)
		}
	}
}

// Any byte that a card has turned is found.
func TestEveryByteIsGuarded(t *testing.T) {
	b, err := chunk.Append(nil, night(600))
	if err != nil {
		t.Fatal(err)
	}
	for i := range b {
		b[i] ^= 0x10
		if got, err := chunk.Decode(nil, b); !errors.Is(err, chunk.ErrDamaged) || len(got) != 0 {
			t.Fatalf("byte %d of %d: %v", i, len(b), err)
		}
		b[i] ^= 0x10
	}
}

func TestStats(t *testing.T) {
	s := chunk.Sum([]chunk.Sample{
		{Count: 7, Quality: frame.Stale}, {Count: 5, Quality: frame.Good}, {Count: -3, Quality: frame.Suspect},
	})
	if want := (chunk.Stats{N: 2, Good: 1, Min: -3, Max: 5, Sum: 2}); s != want {
		t.Errorf("got %+v, want %+v", s, want)
	}
	if s.Merge(chunk.Stats{}); s.Min != -3 || s.N != 2 {
		t.Errorf("nothing merged makes %+v", s)
	}
}

// night is a flue in readings of 0.25 °C on a scale of 1/16 °C.
func night(n int) []chunk.Sample {
	r := rand.New(rand.NewPCG(1, 2))
	all := make([]chunk.Sample, n)
	for i := range all {
		v := 250 + 60*math.Sin(float64(i)/900) + 0.3*r.NormFloat64()
		all[i] = chunk.Sample{At: int64(i) * 1000, Count: int64(math.Round(v*4)) * 4, Quality: frame.Good}
	}
	return all
}

// A fuzzer never meets the checksum by chance, so it is put right.
func FuzzDecode(f *testing.F) {
	for _, n := range []int{0, 1, 3, 600} {
		b, err := chunk.Append(nil, night(n))
		if err != nil {
			f.Fatal(err)
		}
		f.Add(b)
		plain := bytes.Clone(b)
		plain[0] = 1
		f.Add(plain)
	}
	f.Fuzz(func(t *testing.T, b []byte) {
		if _, err := chunk.Decode(nil, b); err == nil && len(b) < 6 {
			t.Fatal("decoded nothing")
		}
		samples, err := chunk.Decode(nil, chunk.Seal(b))
		if err != nil {
			return
		}
		again, err := chunk.Append(nil, samples)
		if err != nil {
			t.Fatalf("decoded what cannot be packed: %v", err)
		}
		got, err := chunk.Decode(nil, again)
		if err != nil {
			t.Fatal(err)
		}
		if d := cmp.Diff(samples, got); d != "" {
			t.Fatal(d)
		}
	})
}

func BenchmarkAppend(b *testing.B) {
	samples := night(600)
	var buf []byte
	b.ReportAllocs()
	for b.Loop() {
		buf, _ = chunk.Append(buf[:0], samples)
	}
	b.ReportMetric(float64(len(buf))/600, "B/sample")
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/600, "ns/sample")
}

func BenchmarkDecode(b *testing.B) {
	packed, err := chunk.Append(nil, night(600))
	if err != nil {
		b.Fatal(err)
	}
	var out []chunk.Sample
	b.ReportAllocs()
	for b.Loop() {
		if out, err = chunk.Decode(out[:0], packed); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/600, "ns/sample")
}

// A chunk of a flue that was written in format 1, with what was written beside it, is read
// as it was.
func TestFormerFormat(t *testing.T) {
	text, err := os.ReadFile("testdata/format-1.hex")
	if err != nil {
		t.Fatal(err)
	}
	b, err := hex.DecodeString(strings.TrimSpace(string(text)))
	if err != nil {
		t.Fatal(err)
	}
	got, err := chunk.Decode(nil, b)
	if err != nil {
		t.Fatal(err)
	}
	if want := (chunk.Stats{N: 600, Good: 600, Min: 2488, Max: 2808, Sum: 1577244}); chunk.Sum(got) != want {
		t.Errorf("%+v, want %+v", chunk.Sum(got), want)
	}
	again, err := chunk.Append(nil, got)
	if err != nil {
		t.Fatal(err)
	}
	if len(again) >= len(b) {
		t.Errorf("packed again it has %d bytes, before it had %d", len(again), len(b))
	}
}
