package app

import (
	"bytes"
	"errors"
	"io"
	"math"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"fluewright/analysis/frame"
	"fluewright/daemon/internal/calibrate"
	"fluewright/daemon/internal/config"
	"fluewright/sensors"
	"fluewright/sensors/bench"
	"fluewright/sensors/calibration"
)

// onBench runs do beside a bench in the given state.
func onBench(t *testing.T, lines []string, do func(t *testing.T, cfg *config.Config)) {
	t.Helper()
	synctest.Test(t, func(t *testing.T) {
		b, err := bench.New(bench.Config{})
		if err != nil {
			t.Fatal(err)
		}
		for _, l := range lines {
			if _, err := b.Do(l); err != nil {
				t.Fatal(err)
			}
		}
		if err := b.Register(); err != nil {
			t.Fatal(err)
		}
		defer b.Close()
		cfg, err := config.Demo()
		if err != nil {
			t.Fatal(err)
		}
		do(t, cfg)
	})
}

// The zero of a sensor that has drifted by 3 Pa, through the real drivers; then the frames
// of a daemon that uses it, and of one that finds another specimen there.
func TestZeroFromTheBenchToTheFrame(t *testing.T) {
	state := t.TempDir()
	onBench(t, []string{"fault draft zero-drift", "pin draft 0", "pin flue 20", "pin room 20"}, func(t *testing.T, cfg *config.Config) {
		var out bytes.Buffer
		if err := Zero(t.Context(), cfg, CalibrateOptions{State: state, In: strings.NewReader("y\ny\n"), Out: &out}); err != nil {
			t.Fatalf("%v\n%s", err, &out)
		}
		if !strings.Contains(out.String(), "WARNING") {
			t.Errorf("3 Pa are no warning:\n%s", &out)
		}
	})
	f, err := calibrate.Load(state)
	if err != nil {
		t.Fatal(err)
	}
	e, ok := f.For(frame.Draft)
	if !ok || math.Abs(e.Offset+3) > 0.01 || e.Serial != "445566778899aabb" || e.Chip != "sdp810-125pa" || e.Celsius == nil {
		t.Fatalf("stored %+v", e)
	}
	cfg, err := config.Demo()
	if err != nil {
		t.Fatal(err)
	}
	for serial, want := range map[string]float64{"445566778899aabb": 12, "445566778899aabc": 15} {
		k, err := newCalibrations(state, cfg, func(string) string { return serial })
		if err != nil {
			t.Fatal(err)
		}
		a := atSea(shelf{"draft": good(15)}, false)
		a.altitudePressure = 96600 // where the sensor needs no other correction
		a.corrections = k.correction
		fr, _ := a.frame(start)
		if got := fr.Inputs[frame.Draft].Value; math.Abs(got-want) > 0.01 {
			t.Errorf("serial %s: %g Pa, want %g", serial, got, want)
		}
		if _, refused, _ := k.entry(frame.Draft); (refused != "") != (want == 15) {
			t.Errorf("serial %s: refused %q", serial, refused)
		}
	}
}

func TestZeroIsRefusedBesideAFire(t *testing.T) {
	onBench(t, []string{"pin draft 0", "pin flue 250"}, func(t *testing.T, cfg *config.Config) {
		err := Zero(t.Context(), cfg, CalibrateOptions{State: t.TempDir(), In: strings.NewReader("y\ny\n"), Out: &bytes.Buffer{}, NoFire: true})
		if !errors.Is(err, calibration.ErrFire) {
			t.Errorf("error %v", err)
		}
	})
}

func TestZeroIsRefusedBesideTheDaemon(t *testing.T) {
	state := t.TempDir()
	release, err := lockState(state)
	if err != nil {
		t.Fatal(err)
	}
	cfg, err := config.Demo()
	if err != nil {
		t.Fatal(err)
	}
	if err := Zero(t.Context(), cfg, CalibrateOptions{State: state}); !errors.Is(err, ErrInUse) {
		t.Errorf("error %v", err)
	}
	if err := release(); err != nil {
		t.Fatal(err)
	}
	if release, err = lockState(state); err != nil {
		t.Errorf("afterwards: %v", err)
	} else if err := release(); err != nil {
		t.Error(err)
	}
}

func TestCalibrateSaysWhatIsWrong(t *testing.T) {
	onBench(t, []string{"fault flue open"}, func(t *testing.T, cfg *config.Config) {
		err := Calibrate(t.Context(), cfg, frame.Flue, true, false, CalibrateOptions{State: t.TempDir(), In: strings.NewReader("y\ny\n"), Out: &bytes.Buffer{}})
		if sensors.CodeOf(err) != sensors.OpenCircuit || !strings.Contains(err.Error(), "Check the thermocouple's screws") {
			t.Errorf("error %v", err)
		}
	})
}

func TestCalibrateInIce(t *testing.T) {
	state := t.TempDir()
	onBench(t, []string{"pin flue 1.5"}, func(t *testing.T, cfg *config.Config) {
		// A probe in ice is colder than its terminals, as one with swapped wires is: this
		// must not count here, however long somebody stirs.
		var out bytes.Buffer
		if err := Calibrate(t.Context(), cfg, frame.Flue, true, false, CalibrateOptions{State: state, In: &slow{answers: "y\ny\n"}, Out: &out}); err != nil {
			t.Fatalf("%v\n%s", err, &out)
		}
	})
	f, err := calibrate.Load(state)
	if err != nil {
		t.Fatal(err)
	}
	if e, _ := f.For(frame.Flue); math.Abs(e.Offset+1.5) > 0.05 {
		t.Errorf("stored %+v", e)
	}
}

// slow takes five minutes for each answer.
type slow struct{ answers string }

func (s *slow) Read(p []byte) (int, error) {
	if s.answers == "" {
		return 0, io.EOF
	}
	<-time.After(5 * time.Minute)
	n := copy(p[:2], s.answers)
	s.answers = s.answers[n:]
	return n, nil
}

// A probe of 33 s beside a gas that rises by 1 K/s lags by 33 K; two thirds of that go. One
// that falls is shown as it reads.
func TestSheathIsMadeUpFor(t *testing.T) {
	const tau = 33.0
	lag, err := newSheath(tau * time.Second)
	if err != nil {
		t.Fatal(err)
	}
	quicken := func(i int, probe float64) float64 {
		in := frame.Input{Value: probe, Quality: frame.Good}
		lag.quicken(&in, start.Add(time.Duration(i)*500*time.Millisecond), start)
		return in.Value
	}
	i, probe, gas := 0, 20.0, 20.0
	step := func(slope float64) float64 {
		gas += slope / 2
		probe += (gas - probe) * -math.Expm1(-0.5/tau)
		i++
		return quicken(i, probe)
	}
	var v float64
	for range 600 {
		v = step(1)
	}
	if lagged, left := gas-probe, gas-v; math.Abs(lagged-tau) > 0.6 || math.Abs(left-tau/lagGain) > 0.6 {
		t.Errorf("the probe lags by %.1f K, the reading by %.1f K, want %.1f K", lagged, left, tau/lagGain)
	}
	for n := range 600 {
		if v = step(-1); n > 100 && v != probe {
			t.Fatalf("falling: %.2f °C of %.2f °C", v, probe)
		}
	}
	t.Run("noise triples at most", func(t *testing.T) {
		lag.now = lag.fresh
		rng, squares, n := uint64(1), 0.0, 0
		for range 4000 {
			i++
			rng = rng*6364136223846793005 + 1442695040888963407
			noise := 2 * (float64(rng>>11)/(1<<53) - 0.5) * math.Sqrt(3) // of variance 1
			d := quicken(i, 200+noise) - 200
			squares, n = squares+d*d, n+1
		}
		if rms := math.Sqrt(squares / float64(n)); rms > lagGain {
			t.Errorf("noise of 1 K becomes %.2f K", rms)
		}
	})
	t.Run("no gas is that hot", func(t *testing.T) {
		lag.now = lag.fresh
		quicken(i+1, 300)
		if v := quicken(i+2, 1300); v != hottestGas || lag.clamped != 1 {
			t.Errorf("%v °C, %d clamped", v, lag.clamped)
		}
		if v := quicken(i+3, 1450); v != 1450 {
			t.Errorf("a reading of 1450 °C became %v °C", v)
		}
	})
	t.Run("what was before a gap says nothing", func(t *testing.T) {
		if v := quicken(i+100, 20); v != 20 {
			t.Errorf("%v °C", v)
		}
		in := frame.Input{Quality: frame.Faulty}
		lag.quicken(&in, start.Add(time.Hour), start)
		if in.Value != 0 {
			t.Errorf("a fault became %v °C", in.Value)
		}
	})
	if lag, err := newSheath(0); lag != nil || err != nil {
		t.Errorf("off: %v, %v", lag, err)
	}
}
