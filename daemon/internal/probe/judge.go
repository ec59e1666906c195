package probe

import (
	"fmt"

	"fluewright/sensors"
	"fluewright/sensors/survey"
)

// noisy is the standard deviation over the samples of a look (about two seconds) above
// which a quantity is called noisy, in its unit. What the chips themselves do is far below
// (a pressure sensor averages away all but 0.02 Pa; an amplifier has 0.1 °C), and a flue
// in full fire moves by some kelvin in that time. Common practice, no source.
var noisy = map[sensors.Quantity]struct {
	limit float64
	hint  string
}{
	sensors.HotJunction:          {3, "Keep the thermocouple's wire away from mains and ignition wires, and its junction from grounded metal."},
	sensors.ColdJunction:         {0.5, "Fix the amplifier where the air is still."},
	sensors.DifferentialPressure: {8, "Wind, or a hose that moves; look again when it is calm."},
	sensors.AbsolutePressure:     {30, "Check the chip's supply wires."},
	sensors.AirTemperature:       {0.5, "Fix the chip where the air is still."},
}

// judge judges what came of the samples, and puts what is to be said among the findings.
func (w *writer) judge(where string, c survey.Chip) string {
	l := c.Look
	switch {
	case l.Fault != nil && l.Samples == 0:
		w.tell(true, where, l.Fault)
		return wrong
	case l.Fault != nil:
		g := *l.Fault
		g.Detail = join(g.Detail, fmt.Sprintf("at %d of %d looks", l.Failed, l.Failed+l.Samples))
		w.tell(true, where, &g)
		return doubtful
	case l.Samples == 0:
		return notRead
	}
	verdict := good
	for _, r := range l.Readings {
		if r.Doubt != "" {
			w.find(true, where, r.Doubt.Info().Title, r.Doubt.Info().Hint)
			verdict = doubtful
			break // of the sample, not of one quantity
		}
	}
	for _, r := range l.Readings {
		if n, ok := noisy[r.Quantity]; ok && r.Noise > n.limit {
			w.find(true, where, fmt.Sprintf("%s is noisy: ±%.2g %s", r.Quantity, r.Noise, unit(r.Quantity)), n.hint)
			verdict = doubtful
		}
	}
	// A thermal pressure sensor never stands still to the last bit; the others may.
	if l.Same && len(l.Readings) > 0 && l.Readings[0].Quantity == sensors.DifferentialPressure && c.Chip != "ads1115" {
		w.find(true, where, "the same words at every look", "Power the chip off and on: it may have stopped measuring.")
		verdict = doubtful
	}
	return verdict
}

// unit is what the quantity is counted in.
func unit(q sensors.Quantity) string {
	switch q {
	case sensors.DifferentialPressure, sensors.AbsolutePressure:
		return "Pa"
	case sensors.RelativeHumidity:
		return "1"
	}
	return "°C"
}

func readingOf(r survey.Reading) Reading {
	return Reading{
		Quantity: r.Quantity.String(), Value: r.Value, Unit: unit(r.Quantity), Noise: r.Noise, Doubt: string(r.Doubt),
		pressure: r.Quantity == sensors.DifferentialPressure, absolute: r.Quantity == sensors.AbsolutePressure,
	}
}
