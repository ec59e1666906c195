package app

import (
	"math"
	"testing"
	"time"

	"fluewright/analysis/frame"
	"fluewright/sensors"
)

// shelf is a board with fixed readings.
type shelf map[string]sensors.Reading

func (s shelf) Reading(sensor string, _ sensors.Quantity, _ time.Time) sensors.Reading {
	return s[sensor]
}

func good(v float64) sensors.Reading { return sensors.Reading{Value: v, Quality: sensors.Good} }

var start = time.Date(2026, 1, 31, 21, 0, 0, 0, time.UTC)

// atSea is a site at sea level whose draft comes from a mass-flow sensor.
func atSea(b board, ambient bool) *assembler {
	a := &assembler{board: b, altitudePressure: 101325}
	a.sources[frame.Draft] = source{sensor: "draft", quantity: sensors.DifferentialPressure, fitted: true, massFlow: true}
	a.sources[frame.Flue] = source{sensor: "flue", quantity: sensors.HotJunction, fitted: true}
	a.sources[frame.Ambient] = source{sensor: "ambient", quantity: sensors.AbsolutePressure, fitted: ambient}
	return a
}

func TestDraftIsCorrectedForTheAir(t *testing.T) {
	fault := sensors.Reading{Quality: sensors.Faulty, Fault: &sensors.Fault{Code: sensors.NoAnswer}}
	// At 1006.5 mbar a true 100 Pa reads 104.2 Pa: Sensirion, SDP8xx-Digital datasheet.
	b := shelf{"draft": good(104.2), "ambient": good(100650)}
	a := atSea(b, true)
	want := func(at time.Duration, value float64, q frame.Quality) {
		t.Helper()
		f, _ := a.frame(start.Add(at))
		in := f.Inputs[frame.Draft]
		if math.Abs(in.Value-value) > 0.05 || in.Quality != q {
			t.Errorf("after %v: %+v, want %g and %v", at, in, value, q)
		}
	}
	want(0, 100, frame.Good)
	b["ambient"] = fault
	want(time.Minute, 100, frame.Good) // weather does not change in a minute
	want(11*time.Minute, 104.2*96600/101325, frame.Suspect)
	b["ambient"] = good(100650)
	want(12*time.Minute, 100, frame.Good)
	b["draft"] = fault
	f, _ := a.frame(start.Add(13 * time.Minute))
	if in := f.Inputs[frame.Draft]; in.Usable() || in.Value != 0 || in.Fault != string(sensors.NoAnswer) {
		t.Errorf("a faulty draft became %+v", in)
	}

	t.Run("without a barometer the altitude serves", func(t *testing.T) {
		f, _ := atSea(shelf{"draft": good(104.2)}, false).frame(start)
		if in := f.Inputs[frame.Draft]; math.Abs(in.Value-99.34) > 0.01 || in.Quality != frame.Good {
			t.Errorf("%+v", in)
		}
	})
}

func TestQualitySurvives(t *testing.T) {
	tests := map[string]struct {
		reading sensors.Reading
		want    frame.Input
	}{
		"good":    {good(300), frame.Input{Value: 300, Quality: frame.Good}},
		"suspect": {sensors.Reading{Value: 300, Quality: sensors.Suspect, Doubt: sensors.ColdJunctionHot}, frame.Input{Value: 300, Quality: frame.Suspect, Fault: "cold-junction-hot"}},
		"stale":   {sensors.Reading{Value: 300, Quality: sensors.Stale}, frame.Input{Quality: frame.Stale}},
		"absent":  {sensors.Reading{}, frame.Input{}},
		"fault": {
			sensors.Reading{Value: 300, Quality: sensors.Faulty, Fault: &sensors.Fault{Code: sensors.OpenCircuit}},
			frame.Input{Quality: frame.Faulty, Fault: "open-circuit"},
		},
		"a number that is none": {good(math.NaN()), frame.Input{Quality: frame.Faulty, Fault: "impossible-frame"}},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			f, _ := atSea(shelf{"flue": tt.reading}, false).frame(start)
			if got := f.Inputs[frame.Flue]; got != tt.want {
				t.Errorf("%+v, want %+v", got, tt.want)
			}
		})
	}
}

func TestFramesAreStampedInWholeMilliseconds(t *testing.T) {
	a := atSea(shelf{}, false)
	a.frame(start)
	if f, _ := a.frame(start.Add(1234567 * time.Microsecond)); f.At != 1234*time.Millisecond {
		t.Errorf("at %v", f.At)
	}
}
