package gas

import (
	"bytes"
	"encoding/json"
	"fmt"
	"math"
	"os"
	"os/exec"
	"strings"
	"testing"
)

// The stored tables have 42 heights; the rest of the sweep goes by another route, the
// hydrostatic equation dp = -ρ g(z) dz integrated step by step with gravity falling as the
// inverse square of the distance from the earth's centre.
func TestAtmosphereFollowsHydrostatics(t *testing.T) {
	const step, points = 25.0, 240 // to 6000 m
	temperature := func(z float64) float64 { return 288.15 - 0.0065*(earthRadius*z/(earthRadius+z)) }
	slope := func(z, p float64) float64 {
		g := Gravity * math.Pow(earthRadius/(earthRadius+z), 2)
		return -p / (standardR * temperature(z)) * g
	}
	p := SeaLevel
	for i := range points {
		z := step * float64(i)
		k1 := slope(z, p)
		k2 := slope(z+step/2, p+k1*step/2)
		k3 := slope(z+step/2, p+k2*step/2)
		k4 := slope(z+step, p+k3*step)
		p += (k1 + 2*k2 + 2*k3 + k4) * step / 6
		if got := StandardAtmosphere(z + step).Pressure; math.Abs(got-p) > 1e-8*p {
			t.Fatalf("at %v m: %v Pa, by integration %v", z+step, got, p)
		}
	}
}

// hylandWexler is the saturation pressure of ASHRAE Handbook Fundamentals 2017, chapter 1,
// equations 5 and 6: another formula than IAPWS, fitted to other data.
func hylandWexler(c float64) float64 {
	k := c + 273.15
	if c <= 0.01 {
		return math.Exp(-5.6745359e3/k + 6.3925247 - 9.677843e-3*k + 6.2215701e-7*k*k +
			2.0747825e-9*math.Pow(k, 3) - 9.484024e-13*math.Pow(k, 4) + 4.1635019*math.Log(k))
	}
	return math.Exp(-5.8002206e3/k + 1.3914993 - 4.8640239e-2*k + 4.1764768e-5*k*k -
		1.4452093e-8*math.Pow(k, 3) + 6.5459673*math.Log(k))
}

// The stored table of moist air has 195 points; here are 1071 more, with ASHRAE's own
// relation for the volume, v = 0.287042 T (1 + 1.607858 W)/p.
func TestMoistAirFollowsASHRAE(t *testing.T) {
	for c := -30.0; c <= 50; c += 4 {
		for _, p := range []float64{70000, 85000, 101325} {
			for rh := 0.0; rh <= 0.96; rh += 0.06 {
				vapour := rh * hylandWexler(c)
				w := 0.621945 * vapour / (p - vapour)
				density := (1 + w) * p / (287.042 * (c + 273.15) * (1 + 1.607858*w))
				if got := HumidityRatio(rh, c, p); math.Abs(got-w) > 5e-4*w {
					t.Errorf("%v °C, %.2f, %v Pa: humidity ratio %v, want %v", c, rh, p, got, w)
				}
				if got := MoistAir(HumidityRatio(rh, c, p)).Density(c, p); math.Abs(got-density) > 8e-5*density {
					t.Errorf("%v °C, %.2f, %v Pa: density %v, want %v", c, rh, p, got, density)
				}
			}
		}
	}
}

// Saturation against Hyland & Wexler over the whole range they share.
func TestSaturationFollowsHylandWexler(t *testing.T) {
	for c := -80.0; c <= 200; c++ {
		got, want := SaturationPressure(c), hylandWexler(c)
		if math.Abs(got-want) > 1.2e-3*want {
			t.Errorf("%v °C: %v Pa, want %v", c, got, want)
		}
	}
}

// TestLivePsychrolib asks the library itself (npm package psychrolib 1.1.1, on node's module path)
// for some six hundred states.
func TestLivePsychrolib(t *testing.T) {
	type state struct{ T, RH, P, W, Rho, Dew float64 }
	const script = `
const lib = require('psychrolib');
lib.SetUnitSystem(lib.SI);
const out = [];
for (let t = -30; t <= 50; t += 5)
  for (const rh of [0.05, 0.2, 0.35, 0.5, 0.65, 0.8, 0.95])
    for (const p of [70000, 78000, 86000, 94000, 101325]) {
      const w = lib.GetHumRatioFromRelHum(t, rh, p);
      out.push({T: t, RH: rh, P: p, W: w, Rho: lib.GetMoistAirDensity(t, w, p),
        Dew: lib.GetTDewPointFromRelHum(t, rh)});
    }
process.stdout.write(JSON.stringify(out));`
	cmd := exec.Command("node", "-e", script)
	var fault bytes.Buffer
	cmd.Stderr = &fault
	data, err := cmd.Output()
	if err != nil {
		missing := strings.Contains(fault.String(), "Cannot find module") || cmd.ProcessState == nil
		if missing && os.Getenv("FLUEWRIGHT_REAL") != "1" {
			t.Skipf("node or its module psychrolib is not there: %v", err)
		}
		t.Fatalf("run psychrolib: %v\n%s", err, fault.String())
	}
	var states []state
	if err := json.Unmarshal(data, &states); err != nil {
		t.Fatal(err)
	}
	if len(states) < 500 {
		t.Fatalf("only %d states", len(states))
	}
	for _, s := range states {
		at := fmt.Sprintf("%v °C, %v, %v Pa", s.T, s.RH, s.P)
		w := HumidityRatio(s.RH, s.T, s.P)
		// Two formulas for the saturation over ice differ by up to 0.05 % here.
		if math.Abs(w-s.W) > 6e-4*s.W {
			t.Errorf("%s: humidity ratio %v, psychrolib %v", at, w, s.W)
		}
		if rho := MoistAir(w).Density(s.T, s.P); math.Abs(rho-s.Rho) > 8e-5*s.Rho {
			t.Errorf("%s: density %v, psychrolib %v", at, rho, s.Rho)
		}
		// psychrolib iterates to 0.001 K.
		if dew := AirDewPoint(s.RH, s.T); math.Abs(dew-s.Dew) > 0.02 {
			t.Errorf("%s: dew point %v, psychrolib %v", at, dew, s.Dew)
		}
	}
}
