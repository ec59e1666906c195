package thermocouple

import (
	"errors"
	"fmt"
	"math"
	"testing"

	"pgregory.net/rapid"
)

func ExampleType_Compensate() {
	celsius, err := K.Compensate(4.096, 25)
	fmt.Printf("%.1f °C %v\n", celsius, err)
	// Output: 124.3 °C <nil>
}

func TestInverseUndoesForward(t *testing.T) {
	for _, tc := range Types() {
		t.Run(tc.String(), func(t *testing.T) {
			rapid.Check(t, func(t *rapid.T) {
				celsius := rapid.Float64Range(tc.InverseRange()).Draw(t, "celsius")
				mV, err := tc.Voltage(celsius)
				if err != nil {
					t.Fatal(err)
				}
				got, err := tc.Temperature(mV)
				if err != nil || !(math.Abs(got-celsius) <= 1e-4) {
					t.Fatalf("%g °C gives %g mV, which gives %g °C, %v", celsius, mV, got, err)
				}
			})
		})
	}
}

func TestHotterIsNeverReadColder(t *testing.T) {
	const nanovolt = 1e-6 // in mV
	for _, tc := range Types() {
		t.Run(tc.String(), func(t *testing.T) {
			lowest, highest := spans[tc].lowest, spans[tc].highest
			rapid.Check(t, func(t *rapid.T) {
				mV := rapid.Float64Range(lowest, highest-1).Draw(t, "mV")
				more := mV + math.Pow(10, rapid.Float64Range(-6, 0).Draw(t, "step"))
				a, errA := tc.Temperature(mV)
				b, errB := tc.Temperature(more)
				if errA != nil || errB != nil || !(b >= a) {
					t.Fatalf("%g mV: %.12g °C, %v; %g mV: %.12g °C, %v", mV, a, errA, more, b, errB)
				}
			})
			// Where pieces or branches join, the monograph's own inverse steps back.
			for _, join := range joins(tc) {
				last := math.Inf(-1)
				for i := -2000; i <= 2000; i++ {
					celsius := temperature(t, tc, join+float64(i)*nanovolt)
					if celsius < last {
						t.Errorf("at %g mV %+d nV the temperature falls from %.12g to %.12g °C", join, i, last, celsius)
					}
					last = celsius
				}
			}
		})
	}
}

// The step that makes the refinement needed: 0.0331 °C down in K at 20.644 mV and
// 0.0675 °C in J at 42.919 mV (the two inverse polynomials of NIST SRD 60, evaluated).
func TestUnrefinedInverseSteps(t *testing.T) {
	const step = 1e-9
	near(t, "K", K.approximate(20.644+step)-K.approximate(20.644), -0.0331, 0.0001)
	near(t, "J", J.approximate(42.919+step)-J.approximate(42.919), -0.0675, 0.0001)
	near(t, "K refined", temperature(t, K, 20.644+step)-temperature(t, K, 20.644), 0, 1e-6)
	near(t, "J refined", temperature(t, J, 42.919+step)-temperature(t, J, 42.919), 0, 1e-6)
}

// joins returns the voltages inside the range at which the pieces of the reference
// function or the branches of the inverse meet.
func joins(tc Type) []float64 {
	lowest, highest := spans[tc].lowest, spans[tc].highest
	var at []float64
	for _, b := range backward[tc][1:] {
		at = append(at, b.from)
	}
	for _, p := range forward[tc][1:] {
		if e, _ := p.at(p.from); e > lowest && e < highest {
			at = append(at, e)
		}
	}
	return at
}

func TestRanges(t *testing.T) {
	cases := []struct {
		name    string
		got     func() (float64, error)
		message string // "" means that a value is wanted
	}{
		{"K at its coldest reading", func() (float64, error) { return K.Temperature(-5.891404) }, ""},
		{"K at its hottest reading", func() (float64, error) { return K.Temperature(54.886364) }, ""},
		{"N at its coldest reading", func() (float64, error) { return N.Temperature(-3.990376) }, ""},
		{"S at its coldest, as printed", func() (float64, error) { return S.Temperature(-0.236) }, ""},
		{"just within the slack", func() (float64, error) { return K.Temperature(54.8868) }, ""},
		{"just beyond the slack", func() (float64, error) { return K.Temperature(54.8869) }, "type K thermocouple: 54.887 mV is outside -5.891 to 54.886 mV"},
		{"below the slack", func() (float64, error) { return K.Temperature(-5.892) }, "type K thermocouple: -5.892 mV is outside -5.891 to 54.886 mV"},
		{"B has no inverse at room temperature", func() (float64, error) { return B.Temperature(0) }, "type B thermocouple: 0.000 mV is outside 0.291 to 13.820 mV"},
		{"not a voltage", func() (float64, error) { return K.Temperature(math.NaN()) }, "type K thermocouple: NaN mV is outside -5.891 to 54.886 mV"},
		{"too hot", func() (float64, error) { return J.Voltage(1200.1) }, "type J thermocouple: 1200.100 °C is outside -210.000 to 1200.000 °C"},
		{"infinitely cold", func() (float64, error) { return T.Voltage(math.Inf(-1)) }, "type T thermocouple: -Inf °C is outside -270.000 to 400.000 °C"},
		{"cold junction out of range", func() (float64, error) { return R.Compensate(1, -55) }, "compensate the cold junction: type R thermocouple: -55.000 °C is outside -50.000 to 1768.100 °C"},
		{"no type, forward", func() (float64, error) { return Type(0).Voltage(0) }, "no thermocouple type given"},
		{"no type, inverse", func() (float64, error) { return Type(9).Temperature(0) }, "no thermocouple type given"},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			got, err := c.got()
			if c.message == "" {
				if err != nil {
					t.Fatal(err)
				}
				return
			}
			var out *RangeError
			if !errors.As(err, &out) || err.Error() != c.message || got != 0 {
				t.Errorf("got %g, %v; want 0, %s", got, err, c.message)
			}
		})
	}
}

func TestTypeNames(t *testing.T) {
	for _, tc := range Types() {
		got, err := ParseType(tc.String())
		if err != nil || got != tc {
			t.Errorf("%v: parsed as %v, %v", tc, got, err)
		}
		coldest, hottest := tc.Range()
		low, high := tc.InverseRange()
		if !(coldest <= low && low < high && high <= hottest) {
			t.Errorf("%v: inverse from %g to %g °C, forward from %g to %g", tc, low, high, coldest, hottest)
		}
	}
	for _, bad := range []string{"", "k", "?", "KK", "C", " K"} {
		if tc, err := ParseType(bad); err == nil || tc.Valid() {
			t.Errorf("%q passes for %v", bad, tc)
		}
	}
	if low, high := Type(0).InverseRange(); Type(0).String() != "?" || low != 0 || high != 0 {
		t.Error("no type has a name or a range")
	}
}

func FuzzTemperature(f *testing.F) {
	for _, tc := range Types() {
		lowest, highest := spans[tc].lowest, spans[tc].highest
		for _, mV := range append(joins(tc), lowest, highest, 0, math.NaN(), math.Inf(1), math.MaxFloat64) {
			f.Add(uint8(tc), mV)
		}
	}
	f.Add(uint8(200), 1.0)
	f.Fuzz(func(t *testing.T, letter uint8, mV float64) {
		tc := Type(letter)
		celsius, err := tc.Temperature(mV)
		if !tc.Valid() {
			if err == nil {
				t.Fatal("no type, but a temperature")
			}
			return
		}
		lowest, highest := spans[tc].lowest, spans[tc].highest
		if inside := mV >= lowest-slack && mV <= highest+slack; inside != (err == nil) {
			t.Fatalf("%v at %g mV: %v", tc, mV, err)
		}
		if err != nil {
			return
		}
		// Where the reference function ends, the last half microvolt is clamped.
		back, err := tc.Voltage(celsius)
		if err != nil || !(math.Abs(back-mV) <= slack) {
			t.Fatalf("%v: %g mV is read as %g °C, which gives %g mV, %v", tc, mV, celsius, back, err)
		}
		if coldest, hottest := tc.Range(); celsius > coldest && celsius < hottest && math.Abs(back-mV) > 1e-7 {
			t.Fatalf("%v: %g mV is read as %g °C, which gives %g mV", tc, mV, celsius, back)
		}
	})
}

func TestNoAllocation(t *testing.T) {
	for _, tc := range Types() {
		middle := (spans[tc].lowest + spans[tc].highest) / 2
		if n := testing.AllocsPerRun(100, func() {
			if _, err := tc.Compensate(middle, 25); err != nil {
				t.Error(err)
			}
		}); n != 0 {
			t.Errorf("%v: %g allocations", tc, n)
		}
	}
}

var sink float64

func BenchmarkVoltage(b *testing.B) {
	b.ReportAllocs()
	for i := 0; b.Loop(); i++ {
		sink, _ = K.Voltage(float64(i % 1300))
	}
}

func BenchmarkTemperature(b *testing.B) {
	for _, tc := range Types() {
		b.Run(tc.String(), func(b *testing.B) {
			b.ReportAllocs()
			lowest, highest := spans[tc].lowest, spans[tc].highest
			for i := 0; b.Loop(); i++ {
				sink, _ = tc.Temperature(lowest + (highest-lowest)*float64(i%1000)/1000)
			}
		})
	}
}

func BenchmarkFromLinear(b *testing.B) {
	b.ReportAllocs()
	for i := 0; b.Loop(); i++ {
		sink, _ = K.FromLinear(float64(i%1200), 25, 41.276)
	}
}
