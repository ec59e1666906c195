package max31855

import (
	"encoding/csv"
	"errors"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"fluewright/sensors/thermocouple"
)

func rows(t *testing.T, name string) [][]string {
	t.Helper()
	f, err := os.Open(filepath.Join("..", "..", "testdata", "its90", name))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	lines, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	return lines[1:]
}

func number(t *testing.T, cell string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(cell, 64)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

// reports returns what the chip reports, before it rounds to 0.25 °C: the equation of
// datasheet 19-5793 Rev 5, p. 8, fed with the thermocouple's true voltage.
func reports(t *testing.T, tc thermocouple.Type, hot, cold float64) float64 {
	t.Helper()
	eHot, err := tc.Voltage(hot)
	if err != nil {
		t.Fatal(err)
	}
	eCold, err := tc.Voltage(cold)
	if err != nil {
		t.Fatal(err)
	}
	gain, _ := Gain(tc)
	return cold + (eHot-eCold)*1000/gain
}

// Each gain is the chord of the NIST function at the end of the datasheet's table 1:
// E(400 °C)/400 °C in type T, E(1000 °C)/1000 °C in the others.
func TestGainIsTheChord(t *testing.T) {
	made := 0
	for _, tc := range thermocouple.Types() {
		gain, ok := Gain(tc)
		if !ok {
			continue
		}
		made++
		end := 1000.0
		if tc == thermocouple.T {
			end = 400
		}
		e, err := tc.Voltage(end)
		if err != nil {
			t.Fatal(err)
		}
		if got := e * 1000 / end; !(math.Abs(got-gain) <= 0.0005) {
			t.Errorf("%v: chord %.4f µV/°C, gain %g", tc, got, gain)
		}
	}
	if made != 7 {
		t.Errorf("%d types, the datasheet's p. 1 lists 7", made)
	}
}

func TestLineariseTable(t *testing.T) {
	lines := rows(t, "max31855_linearisation.csv")
	for _, r := range lines {
		tc, err := thermocouple.ParseType(r[0])
		if err != nil {
			t.Fatal(err)
		}
		hot, cold := number(t, r[1]), number(t, r[2])
		reported := reports(t, tc, hot, cold)
		check := func(what string, got float64, want string, tolerance float64) {
			if !(math.Abs(got-number(t, want)) <= tolerance) {
				t.Errorf("%v, %g °C over %g °C, %s: got %.6f, want %s", tc, hot, cold, what, got, want)
			}
		}
		check("reported", reported, r[4], 0.6e-4)
		exact, err := Linearise(tc, reported, cold)
		if err != nil {
			t.Fatal(err)
		}
		check("from the exact report", exact, r[7], 1e-6)
		rounded, err := Linearise(tc, number(t, r[5]), cold)
		_, hottest := tc.InverseRange()
		if hot == hottest && number(t, r[5]) > reported+0.015 {
			// The chip rounded up past the end of the reference function, where the table
			// stops at its end.
			var out *thermocouple.RangeError
			if !errors.As(err, &out) || number(t, r[8]) != hottest {
				t.Errorf("%v: %s °C over %g °C is beyond the range: %g, %v", tc, r[5], cold, rounded, err)
			}
			continue
		}
		if err != nil {
			t.Fatal(err)
		}
		if number(t, r[8]) > hottest {
			r[8] = strconv.FormatFloat(hottest, 'f', -1, 64) // the table goes on for 0.2 µV
		}
		check("from the 0.25 °C report", rounded, r[8], 0.6e-4)
	}
	if len(lines) != 276 {
		t.Errorf("%d rows, want 276", len(lines))
	}
}

// The MAX31855 rows of the check values: gain as above, E from NIST Monograph 175.
func TestCheckValues(t *testing.T) {
	seen := 0
	for _, r := range rows(t, "check_values.csv") {
		id := strings.Split(r[0], ".")
		if id[0] != "MAX31855" {
			continue
		}
		tc, err := thermocouple.ParseType(id[1])
		if err != nil {
			t.Fatal(err)
		}
		var hot, cold float64
		if _, err := fmt.Sscanf(r[2], "hot=%g, cj=%g", &hot, &cold); err != nil {
			t.Fatal(err)
		}
		if got := reports(t, tc, hot, cold); !(math.Abs(got-number(t, r[3])) <= number(t, r[4])) {
			t.Errorf("%s: got %.4f, want %s (%s)", r[0], got, r[3], r[6])
		}
		seen++
	}
	if seen != 8 {
		t.Errorf("checked %d values, want 8", seen)
	}
}

// What an uncorrected reading would hide: the extremes that Linearise's doc names.
func TestUncorrectedErrors(t *testing.T) {
	for _, c := range []struct {
		tc         thermocouple.Type
		hot, error float64
	}{
		{thermocouple.K, 771, 7.03},
		{thermocouple.K, 286, -3.48},
		{thermocouple.K, 1149, -10.57},
		{thermocouple.N, 344, -36},
	} {
		if got := reports(t, c.tc, c.hot, 25) - c.hot; !(math.Abs(got-c.error) <= 0.5) {
			t.Errorf("%v at %g °C: %+.2f °C, want %+.2f", c.tc, c.hot, got, c.error)
		}
	}
}

func TestLineariseRefuses(t *testing.T) {
	if got, err := Linearise(thermocouple.B, 800, 25); err == nil || got != 0 {
		t.Errorf("type B, for which no chip is made: %g, %v", got, err)
	}
	var out *thermocouple.RangeError
	if got, err := Linearise(thermocouple.K, 1600, 25); !errors.As(err, &out) || got != 0 {
		t.Errorf("1600 °C, beyond type K: %g, %v", got, err)
	}
	if got, err := Linearise(thermocouple.K, math.NaN(), 25); !errors.As(err, &out) || got != 0 {
		t.Errorf("NaN: %g, %v", got, err)
	}
}
