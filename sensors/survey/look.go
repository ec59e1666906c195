package survey

import (
	"context"
	"fmt"
	"math"
	"slices"
	"time"

	"fluewright/sensors"
)

// What a look consists of. Eight samples tell noise from a single spike, and 0.3 s is
// longer than the slowest usual conversion.
const (
	samples  = 8
	interval = 300 * time.Millisecond
	rounds   = 3 * samples // a chip that averages long has nothing new in some of them
)

// Look is what came of several samples of a chip, taken one after the other.
type Look struct {
	Samples  int
	Failed   int // looks that gave a fault
	Readings []Reading
	// Same: every sample had the same raw words.
	Same bool
	// Fault is the latest; a chip that has one may have samples too.
	Fault *sensors.Fault

	values [sensors.Quantities][]float64
	raw    sensors.Raw
}

// Reading is one quantity.
type Reading struct {
	Quantity sensors.Quantity
	Value    float64 // median of the samples
	Noise    float64 // their standard deviation
	Doubt    sensors.Code
}

// look starts the chips and takes their samples, all chips in each round.
func look(ctx context.Context, clock sensors.Clock, chips []*Chip) error {
	var running []*Chip
	defer func() {
		for _, c := range running {
			_ = c.sensor.Halt() // at worst it measures on
		}
	}()
	for _, c := range chips {
		if c.sensor == nil {
			continue
		}
		if err := c.sensor.Start(ctx); err != nil {
			c.Look.Fault = asFault(c.sensor.String(), err)
			continue
		}
		running = append(running, c)
	}
	pending := slices.Clone(running)
	for range rounds {
		if len(pending) == 0 || ctx.Err() != nil {
			break
		}
		if err := clock.Sleep(ctx, interval); err != nil {
			break
		}
		pending = slices.DeleteFunc(pending, func(c *Chip) bool {
			c.Look.take(ctx, c.sensor)
			return c.Look.Samples+c.Look.Failed >= samples
		})
	}
	if err := ctx.Err(); err != nil {
		return fmt.Errorf("look at the chips: %w", err)
	}
	for _, c := range running {
		c.Look.sum()
	}
	return nil
}

// take takes one sample.
func (l *Look) take(ctx context.Context, s sensors.Sensor) {
	sample, err := s.Sense(ctx)
	if err != nil {
		f := asFault(s.String(), err)
		if f.Code != sensors.NotReady {
			l.Failed++
			l.Fault = f
		} else if l.Samples == 0 && l.Fault == nil {
			l.Fault = f
		}
		return
	}
	if l.Fault != nil && l.Fault.Code == sensors.NotReady {
		l.Fault = nil
	}
	l.Same = l.Samples == 0 || l.Same && l.raw == sample.Raw
	l.raw = sample.Raw
	l.Samples++
	for q := range sensors.Quantities {
		v, ok := sample.Get(q)
		if !ok {
			continue
		}
		if len(l.values[q]) == 0 {
			l.Readings = append(l.Readings, Reading{Quantity: q})
		}
		l.values[q] = append(l.values[q], v)
		for i := range l.Readings {
			if l.Readings[i].Quantity == q && sample.Doubt != "" {
				l.Readings[i].Doubt = sample.Doubt
			}
		}
	}
}

// sum makes readings of the samples.
func (l *Look) sum() {
	l.Same = l.Same && l.Samples >= samples
	for i := range l.Readings {
		v := slices.Clone(l.values[l.Readings[i].Quantity])
		l.Readings[i].Noise = deviation(v)
		slices.Sort(v)
		n := len(v)
		l.Readings[i].Value = (v[(n-1)/2] + v[n/2]) / 2
	}
}

// deviation is the standard deviation of the values; 0 for fewer than two.
func deviation(v []float64) float64 {
	if len(v) < 2 {
		return 0
	}
	var mean, squares float64
	for _, x := range v {
		mean += x / float64(len(v))
	}
	for _, x := range v {
		squares += (x - mean) * (x - mean)
	}
	return math.Sqrt(squares / float64(len(v)-1))
}
