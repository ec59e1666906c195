package thermocouple

import "math"

// branch is the approximate inverse between two voltages: Σ dᵢ·Eⁱ.
type branch struct {
	from, to         float64 // mV
	coldest, hottest float64 // °C
	d                []float64
}

// slack is how far in mV a voltage may lie outside those of the range's ends, so that
// every end is accepted as it is printed, to 0.001 mV. The ends printed for the inverse
// functions are no bounds themselves: K at −200 °C gives −5.891404 mV, S at −50 °C
// −0.235555, their ranges begin at −5.891 and −0.235.
const slack = 0.0005

// spans holds the voltages in mV at the ends of each type's inverse range.
var spans = func() (s [T + 1]struct{ lowest, highest float64 }) {
	for _, t := range Types() {
		coldest, hottest := t.InverseRange()
		s[t].lowest, _ = t.Voltage(coldest)
		s[t].highest, _ = t.Voltage(hottest)
	}
	return s
}()

// settled is the step in °C after which Newton's method stops: far below any sensor,
// and as its convergence is quadratic the error left is that of the arithmetic.
const settled = 1e-6

// Temperature returns the temperature in °C of a junction that gives mV against a
// reference junction at 0 °C.
//
// It solves Voltage(t) = mV by Newton's method from the inverse function of NIST
// Monograph 175, valid over InverseRange. Temperature(Voltage(t)) is t within 1e-4 °C,
// the worst at the joins of the reference functions, which match to 1e-7 mV only, and
// a voltage higher by 1 nV or more never gives a lower temperature. More than 0.0005 mV
// outside the voltages of that range it returns a *RangeError.
func (t Type) Temperature(mV float64) (celsius float64, err error) {
	if !t.Valid() {
		return 0, &RangeError{Type: t, Value: mV, Unit: "mV"}
	}
	s := spans[t]
	if !(mV >= s.lowest-slack && mV <= s.highest+slack) {
		return 0, &RangeError{t, mV, "mV", s.lowest, s.highest}
	}
	p := t.pieceOf(mV)
	celsius = t.approximate(mV)
	for range 8 {
		e, slope := p.at(celsius)
		step := (e - mV) / slope
		celsius -= step
		if math.Abs(step) < settled {
			break
		}
	}
	// Each piece answers for its own temperatures only: where two do not quite meet,
	// this keeps the order.
	return min(max(celsius, p.from), p.to), nil
}

// pieceOf returns the piece of the reference function that gives mV.
func (t Type) pieceOf(mV float64) *piece {
	p := forward[t]
	for i := len(p) - 1; i > 0; i-- {
		if start, _ := p[i].at(p[i].from); mV >= start {
			return &p[i]
		}
	}
	return &p[0]
}

// approximate returns the monograph's inverse, up to 0.06 °C from the reference
// function.
func (t Type) approximate(mV float64) float64 {
	b := backward[t]
	i := 0
	for i < len(b)-1 && mV > b[i].to {
		i++
	}
	celsius := 0.0
	for j := len(b[i].d) - 1; j >= 0; j-- {
		celsius = celsius*mV + b[i].d[j]
	}
	return celsius
}
