package sdp8xx

import (
	"math"
	"testing"
)

func TestCorrectForAmbient(t *testing.T) {
	for _, tc := range []struct {
		name                    string
		reported, ambient, want float64
	}{
		{"calibration pressure", -12.5, 96600, -12.5},
		// Sensirion's datasheet: at 1006.5 mbar a true 100 Pa reads 104.2 Pa, which is
		// given to 0.1 Pa. The wrong way round it would make 108.6.
		{"above it", 104.2, 100650, 100},
		{"no pressure", 0, 100650, 0},
	} {
		got, ok := CorrectForAmbient(tc.reported, tc.ambient)
		if !ok || math.Abs(got-tc.want) > 0.05 {
			t.Errorf("%s: %v, %v, want %v", tc.name, got, ok, tc.want)
		}
	}
	for _, ambient := range []float64{0, -96600, 966, 1e6, math.NaN(), math.Inf(1)} {
		if got, ok := CorrectForAmbient(-12.5, ambient); ok || got != 0 {
			t.Errorf("ambient %v Pa gives %v", ambient, got)
		}
	}
}
