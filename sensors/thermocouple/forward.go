package thermocouple

import "math"

// piece is the reference function between two temperatures: Σ cᵢ·tⁱ, in type K above
// 0 °C plus an exponential.
type piece struct {
	from, to float64 // °C
	c        []float64
	bump     *gaussian
}

// gaussian is the term a0·exp(a1·(t − a2)²), the magnetic transition of type K.
type gaussian struct{ a0, a1, a2 float64 }

// at returns E in mV at celsius, and dE/dt in mV/°C.
func (p *piece) at(celsius float64) (mV, slope float64) {
	for i := len(p.c) - 1; i >= 0; i-- {
		slope = slope*celsius + mV
		mV = mV*celsius + p.c[i]
	}
	if p.bump != nil {
		d := celsius - p.bump.a2
		g := p.bump.a0 * math.Exp(p.bump.a1*d*d)
		mV += g
		slope += 2 * p.bump.a1 * d * g
	}
	return mV, slope
}

// Voltage returns the thermoelectric voltage in mV of a junction at celsius against a
// reference junction at 0 °C.
//
// E(t) = Σ cᵢ·tⁱ, in type K above 0 °C plus a0·exp(a1·(t − a2)²): NIST Monograph 175,
// reference functions, valid over Range. It equals every printed value of the
// monograph's 1 °C tables after rounding to 0.001 mV. Outside Range it returns a
// *RangeError.
func (t Type) Voltage(celsius float64) (mV float64, err error) {
	coldest, hottest := t.Range()
	if !t.Valid() || !(celsius >= coldest && celsius <= hottest) {
		return 0, &RangeError{t, celsius, "°C", coldest, hottest}
	}
	// At a join the upper piece holds, as in Temperature.
	p := forward[t]
	i := len(p) - 1
	for i > 0 && celsius < p[i].from {
		i--
	}
	mV, _ = p[i].at(celsius)
	return mV, nil
}
