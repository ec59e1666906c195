package nights

import "math"

// regulator is a barometric gate in the tee.
type regulator struct {
	set      float64 // Pa at which it starts to open
	band     float64 // Pa from shut to wide open
	area     float64 // m² effective, wide open
	stiction float64 // share of the opening that its bearing holds back
	lag      float64 // s

	open    float64
	stuck   bool    // stays as open is
	flutter float64 // amplitude of a loose gate, share of the opening
	rate    float64 // Hz
	phase   float64
}

// step lets the gate follow the draft.
func (r *regulator) step(draft, dt float64) {
	if r.stuck || r.area == 0 {
		return
	}
	aim := clamp((draft-r.set)/r.band, 0, 1)
	if math.Abs(aim-r.open) > r.stiction {
		aim -= math.Copysign(r.stiction, aim-r.open)
		r.open += (aim - r.open) * (1 - math.Exp(-dt/r.lag))
	}
	if r.flutter > 0 && draft > 0.7*r.set {
		r.phase += 2 * math.Pi * r.rate * dt
		r.open += r.flutter * math.Sin(r.phase) * math.Min(1, dt*4)
	}
	r.open = clamp(r.open, 0, 1)
}

// conductance is kg/s at 1 Pa.
func (r *regulator) conductance(rho float64) float64 {
	return (r.open + 0.004) * r.area * math.Sqrt(2*rho)
}
