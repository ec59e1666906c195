package signal

import "time"

// Toward moves a first-order average towards a value seen dt later: the backward
// difference of a lag with the time constant over, stable for any step and with the same
// bits on every machine. An average over no time at all is the value, but for no step.
func Toward(average, v float64, dt, over time.Duration) float64 {
	s := dt.Seconds()
	if w := s + over.Seconds(); w > 0 {
		return average + float64(s/w*(v-average))
	}
	return average
}
