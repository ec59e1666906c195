package thermocouple

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"
)

// Every coefficient in the code is the one that NIST SRD 60 prints.
func TestCoefficientsArePublishedOnes(t *testing.T) {
	forwardTerms, inverseTerms := 0, 0
	for _, row := range table(t, "its90_forward_coeffs.csv") {
		p := forward[typeOf(t, row["type"])][int(number(t, row["range"]))]
		if p.from != number(t, row["t_min_C"]) || p.to != number(t, row["t_max_C"]) {
			t.Errorf("%v: piece from %g to %g", row, p.from, p.to)
		}
		var terms []float64
		if row["term"][0] == 'a' {
			terms = []float64{p.bump.a0, p.bump.a1, p.bump.a2}
		} else {
			terms = p.c
		}
		if got := terms[int(number(t, row["term"][1:]))]; got != number(t, row["coeff"]) {
			t.Errorf("%v: got %g", row, got)
		}
		forwardTerms++
	}
	for _, row := range table(t, "its90_inverse_coeffs.csv") {
		b := backward[typeOf(t, row["type"])][int(number(t, row["range"]))]
		if b.from != number(t, row["mV_min"]) || b.to != number(t, row["mV_max"]) ||
			b.coldest != number(t, row["t_min_C"]) || b.hottest != number(t, row["t_max_C"]) {
			t.Errorf("%v: branch %+v", row, b)
		}
		want, got := number(t, row["coeff"]), 0.0
		if i := int(number(t, row["term"][1:])); i < len(b.d) {
			got = b.d[i]
		}
		if got != want {
			t.Errorf("%v: got %g", row, got)
		}
		inverseTerms++
	}
	if forwardTerms != 164 || inverseTerms != 225 {
		t.Errorf("checked %d forward and %d inverse terms, want 164 and 225", forwardTerms, inverseTerms)
	}
}

// Every printed point of the tables of NIST Monograph 175.
func TestVoltageEqualsPrintedTables(t *testing.T) {
	points := 0
	for _, row := range table(t, "its90_nist_printed_tables.csv") {
		tc, celsius := typeOf(t, row["type"]), number(t, row["T_C"])
		e := voltage(t, tc, celsius)
		if got := strings.Replace(fmt.Sprintf("%.3f", e), "-0.000", "0.000", 1); got != strings.Replace(row["E_mV_printed"], "-0.000", "0.000", 1) {
			t.Errorf("%v at %g °C: got %s mV, printed %s", tc, celsius, got, row["E_mV_printed"])
		}
		near(t, fmt.Sprintf("%v at %g °C", tc, celsius), e, number(t, row["E_mV_computed_6dp"]), 0.6e-6)
		points++
	}
	if points != 12026 {
		t.Errorf("checked %d points, want 12026", points)
	}
}

// Every printed point that the inverse covers comes back: exactly from its voltage, and
// within the printing's rounding from the printed one.
func TestTemperatureOfPrintedTables(t *testing.T) {
	points, worst := 0, 0.0
	for _, row := range table(t, "its90_nist_printed_tables.csv") {
		tc, celsius := typeOf(t, row["type"]), number(t, row["T_C"])
		coldest, hottest := tc.InverseRange()
		if celsius < coldest || celsius > hottest {
			continue
		}
		e := voltage(t, tc, celsius)
		worst = max(worst, math.Abs(temperature(t, tc, e)-celsius))

		printed := number(t, row["E_mV_printed"])
		_, slope := tc.pieceOf(e).at(celsius)
		near(t, fmt.Sprintf("%v, printed %s mV", tc, row["E_mV_printed"]),
			temperature(t, tc, printed), celsius, 0.00051/slope*1.1)
		points++
	}
	if points < 11000 || worst > 1e-6 {
		t.Errorf("%d points, worst error %g °C, want at most 1e-6", points, worst)
	}
}

// Slope and inverse function every 10 °C (K, N): E, dE/dt and the unrefined inverse.
func TestDerivativeAndStart(t *testing.T) {
	for _, row := range table(t, "its90_K_N_10C.csv") {
		tc, celsius := typeOf(t, row["type"]), number(t, row["T_C"])
		e := voltage(t, tc, celsius)
		near(t, fmt.Sprintf("E %v %g", tc, celsius), e, number(t, row["E_mV_poly"]), 0.6e-9)
		_, slope := tc.pieceOf(e).at(celsius)
		near(t, fmt.Sprintf("dE/dt %v %g", tc, celsius), slope*1000, number(t, row["Seebeck_uV_per_C"]), 0.6e-5)
		if row["T_from_inverse_poly_C"] != "" {
			near(t, fmt.Sprintf("start %v %g", tc, celsius), tc.approximate(e), number(t, row["T_from_inverse_poly_C"]), 0.6e-5)
		}
	}
}

// The inverse functions keep their published error limits, which are printed to
// 0.01 °C (0.001 or finer in R and S): K at −200 °C exceeds its own by 0.0008 °C.
func TestStartKeepsPublishedLimits(t *testing.T) {
	for _, row := range table(t, "its90_inverse_error_bounds.csv") {
		tc := typeOf(t, row["type"])
		b := backward[tc][int(number(t, row["range"]))]
		low, high := 0.0, 0.0
		for i := 0.0; b.coldest+i*0.05 <= b.hottest; i++ {
			celsius := b.coldest + i*0.05
			e := voltage(t, tc, celsius)
			got := 0.0
			for j := len(b.d) - 1; j >= 0; j-- {
				got = got*e + b.d[j]
			}
			low, high = min(low, got-celsius), max(high, got-celsius)
		}
		what := fmt.Sprintf("%v %g to %g °C", tc, b.coldest, b.hottest)
		near(t, what+", lowest", low, number(t, row["computed_err_min_C"]), 1.1e-4)
		near(t, what+", highest", high, number(t, row["computed_err_max_C"]), 1.1e-4)
		if low < number(t, row["published_err_min_C"])-0.005 || high > number(t, row["published_err_max_C"])+0.005 {
			t.Errorf("%s: error %g to %g outside the published limits", what, low, high)
		}
	}
}

// The list of single values, each with its source and tolerance in the file.
func TestCheckValues(t *testing.T) {
	seen := 0
	for _, row := range table(t, "check_values.csv") {
		id := strings.SplitN(row["id"], ".", 4)
		if id[0] != "TC" {
			continue
		}
		tc, x := typeOf(t, id[2]), number(t, id[3])
		var got float64
		switch id[1] {
		case "E":
			got = voltage(t, tc, x)
		case "Tinv":
			got = tc.approximate(x)
		case "Texact":
			got = temperature(t, tc, x)
		default:
			t.Fatalf("unknown check %s", row["id"])
		}
		tolerance, _, _ := strings.Cut(row["tolerance"], " ")
		near(t, row["id"]+" ("+row["source"]+")", got, number(t, row["value"]), number(t, tolerance))
		seen++
	}
	if seen != 55 {
		t.Errorf("checked %d values, want 55", seen)
	}
}

// Mistakes that are found in public copies of the coefficients. Each shows at a point
// where the printed table (NIST SRD 60) or its voltage says otherwise.
func TestMiscopiedCoefficientsShow(t *testing.T) {
	t.Run("K below 0 °C, c5 with the wrong sign", func(t *testing.T) {
		wrong := forward[K][0]
		wrong.c = slices.Clone(wrong.c)
		wrong.c[5] = -wrong.c[5]
		e, _ := wrong.at(-100)
		near(t, "the wrong copy at −100 °C", e, -4.9038, 0.00005)
		near(t, "the right one", voltage(t, K, -100), -3.554, 0.0005)
	})
	t.Run("B below 630 °C with the coefficients of E", func(t *testing.T) {
		e, _ := forward[E][1].at(400)
		near(t, "the wrong copy at 400 °C", e, 28.946, 0.0005)
		near(t, "the right one", voltage(t, B, 400), 0.787, 0.0005)
	})
	t.Run("E inverse, d2 a hundred times too large", func(t *testing.T) {
		d := slices.Clone(backward[E][0].d)
		d[2] *= 100
		wrong := 0.0
		for i := len(d) - 1; i >= 0; i-- {
			wrong = wrong*-4 + d[i]
		}
		right := E.approximate(-4)
		if math.Abs(wrong-right) < 600 {
			t.Errorf("the wrong copy gives %g °C at −4 mV, the right one %g", wrong, right)
		}
		near(t, "E at the inverse of −4 mV", voltage(t, E, right), -4, 0.002)
	})
}
