package gas

import (
	"math"
	"testing"

	"fluewright/analysis/internal/printed"
)

// TestLiveIAPWS asks the library iapws (Debian package python3-iapws) for the saturation
// line of IAPWS-IF97, region 4, both ways.
func TestLiveIAPWS(t *testing.T) {
	var rows []struct{ T, P, Back float64 }
	printed.Python(t, `
import json
from iapws.iapws97 import _PSat_T, _TSat_P
out = []
for i in range(0, 401):
    t = i * 0.5
    p = _PSat_T(t + 273.15)
    out.append({"T": t, "P": p * 1e6, "Back": _TSat_P(p) - 273.15})
print(json.dumps(out))`, &rows)
	if len(rows) != 401 {
		t.Fatalf("%d states", len(rows))
	}
	for _, r := range rows {
		if r.T < 0.01 {
			continue // below the triple point there is ice, which is another formula
		}
		if got := SaturationPressure(r.T); math.Abs(got-r.P) > 1e-9*r.P {
			t.Errorf("%v °C: %v Pa, iapws %v", r.T, got, r.P)
		}
		if got := SaturationTemperature(r.P); math.Abs(got-r.Back) > 1e-6 {
			t.Errorf("%v Pa: %v °C, iapws %v", r.P, got, r.Back)
		}
	}
}

// TestLiveAtmosphere asks the library fluids (Debian package python3-fluids) for the US
// Standard Atmosphere 1976.
func TestLiveAtmosphere(t *testing.T) {
	var rows []struct{ Z, P, T, Rho float64 }
	printed.Python(t, `
import json
from fluids import ATMOSPHERE_1976
out = []
for z in range(0, 5001, 20):
    a = ATMOSPHERE_1976(z)
    out.append({"Z": z, "P": a.P, "T": a.T - 273.15, "Rho": a.rho})
print(json.dumps(out))`, &rows)
	if len(rows) != 251 {
		t.Fatalf("%d heights", len(rows))
	}
	for _, r := range rows {
		a := StandardAtmosphere(r.Z)
		if math.Abs(a.Pressure-r.P) > 1e-5*r.P || math.Abs(a.Temperature-r.T) > 1e-3 || math.Abs(a.Density-r.Rho) > 2e-5*r.Rho {
			t.Errorf("%v m: %+v, fluids %v Pa, %v °C, %v kg/m³", r.Z, a, r.P, r.T, r.Rho)
		}
	}
}
