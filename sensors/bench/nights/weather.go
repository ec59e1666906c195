package nights

import "math"

// weather is what the night does outside.
type weather struct {
	mean, swing float64 // °C
	hour        float64 // of the clock at the start
	pressure    float64 // Pa
	wind        float64 // m/s mean
	gusty       float64 // standard deviation of gusts over the mean
	gustLag     float64 // s
	terminal    float64 // suction coefficient of the terminal in its usual wind
	swirl       float64 // how much the terminal's coefficient wanders with the direction

	gust, slow, veer float64 // states, unit variance
}

func (w *weather) outdoor(t float64) float64 {
	return w.mean + w.swing*math.Cos(2*math.Pi*(t/3600+w.hour-15)/24)
}

// step returns the pull of the wind at the terminal, Pa.
func (w *weather) step(d draw, rho, dt float64) float64 {
	ou := func(x *float64, lag float64) {
		k := math.Exp(-dt / lag)
		*x = *x*k + d.NormFloat64()*math.Sqrt(1-k*k)
	}
	ou(&w.gust, w.gustLag)
	ou(&w.slow, 900)
	ou(&w.veer, 240)
	v := math.Max(0, w.wind*(1+w.gusty*w.gust+0.2*w.slow))
	return (w.terminal + w.swirl*w.veer*0.5 + w.swirl*0.4*w.gust) * rho / 2 * v * v
}
