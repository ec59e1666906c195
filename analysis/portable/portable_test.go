package portable

import (
	"hash/fnv"
	"math"
	"testing"

	"pgregory.net/rapid"
)

// ulps returns how many representable numbers lie between a and b.
func ulps(a, b float64) uint64 {
	x, y := int64(math.Float64bits(a)), int64(math.Float64bits(b))
	if x > y {
		x, y = y, x
	}
	return uint64(y - x)
}

func TestExpAgreesWithTheStandardLibrary(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		x := rapid.Float64Range(-700, 700).Draw(t, "x")
		if d := ulps(Exp(x), math.Exp(x)); d > 2 {
			t.Fatalf("Exp(%v) = %v, math.Exp %v: %d units apart", x, Exp(x), math.Exp(x), d)
		}
	})
}

func TestLogAgreesWithTheStandardLibrary(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		x := math.Exp(rapid.Float64Range(-300, 300).Draw(t, "ln x"))
		if d := ulps(Log(x), math.Log(x)); d > 2 {
			t.Fatalf("Log(%v) = %v, math.Log %v: %d units apart", x, Log(x), math.Log(x), d)
		}
	})
}

func TestPowAgreesWithTheStandardLibrary(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		x := rapid.Float64Range(1e-6, 1e6).Draw(t, "x")
		y := rapid.Float64Range(-6, 6).Draw(t, "y")
		if got, want := Pow(x, y), math.Pow(x, y); math.Abs(got-want) > 3e-14*want {
			t.Fatalf("Pow(%v, %v) = %v, want %v", x, y, got, want)
		}
	})
}

func TestEdges(t *testing.T) {
	inf := math.Inf(1)
	tests := []struct {
		name      string
		got, want float64
	}{
		{"exp of zero", Exp(0), 1},
		{"exp beyond the range", Exp(710), inf},
		{"exp far below", Exp(-746), 0},
		{"exp of infinity", Exp(inf), inf},
		{"exp of minus infinity", Exp(-inf), 0},
		{"log of one", Log(1), 0},
		{"log of zero", Log(0), -inf},
		{"log of infinity", Log(inf), inf},
		{"decimal log", Log10(1000), math.Log10(1000)},
		{"empty polynomial", Poly(3, nil), 0},
		{"polynomial, highest power first", Poly(3, []float64{2, 1, 5}), 26},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			if ulps(tt.got, tt.want) > 1 {
				t.Errorf("got %v, want %v", tt.got, tt.want)
			}
		})
	}
	for name, got := range map[string]float64{"exp": Exp(math.NaN()), "log": Log(math.NaN()), "log below zero": Log(-1)} {
		if !math.IsNaN(got) {
			t.Errorf("%s: got %v, want NaN", name, got)
		}
	}
}

// TestSameBitsEverywhere holds a fingerprint made on amd64; the same test runs for the
// board's architectures under emulation.
func TestSameBitsEverywhere(t *testing.T) {
	h := fnv.New64a()
	for i := range 4000 {
		x := 0.01 + 0.37*float64(i)/7
		for _, v := range []float64{Exp(-x / 3), Log(x), Pow(x, 0.67), Log10(x)} {
			bits := math.Float64bits(v)
			for s := 0; s < 64; s += 8 {
				h.Write([]byte{byte(bits >> s)})
			}
		}
	}
	const want = 0x3e016efb1c847bb9
	if got := h.Sum64(); got != want {
		t.Errorf("fingerprint %#x, want %#x", got, uint64(want))
	}
}

func BenchmarkExp(b *testing.B) {
	x := 0.0
	for b.Loop() {
		x = Exp(-0.7 - x*1e-9)
	}
}

func BenchmarkLog(b *testing.B) {
	x := 1.0
	for b.Loop() {
		x = Log(700 + x)
	}
}
