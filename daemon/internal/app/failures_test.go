package app

import (
	"context"
	"errors"
	"log/slog"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"fluewright/analysis"
	"fluewright/analysis/alarm"
	"fluewright/analysis/frame"
	"fluewright/daemon/internal/config"
	"fluewright/daemon/internal/message"
	"fluewright/daemon/internal/status"
	"fluewright/daemon/internal/units"
	"fluewright/sensors"
	"fluewright/sensors/bench"
	"fluewright/sensors/scan"
)

// rig is the whole way from virtual chips to words, without those who publish.
type rig struct {
	t     *testing.T
	bench *bench.Bench
	board *scan.Board
	loop  *loop
	root  string // of the board's /sys
	said  strings.Builder
	last  *status.Status
	first map[string]time.Duration // when an alarm was first raised, since the last do
	began time.Time
}

func newRig(t *testing.T, change ...func(*config.Config)) *rig {
	t.Helper()
	cfg, err := config.Demo()
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range change {
		c(cfg)
	}
	r := &rig{t: t, board: scan.NewBoard(), root: t.TempDir(), first: map[string]time.Duration{}}
	if r.bench, err = bench.New(bench.Config{Seed: 1}); err != nil {
		t.Fatal(err)
	}
	if err := r.bench.Register(); err != nil {
		t.Fatal(err)
	}
	r.supplyIs("0")
	h := &house{
		cfg: cfg, feed: status.NewFeed(), board: r.board, log: slog.New(slog.NewTextHandler(&r.said, nil)),
		options: Options{Clock: sensors.SystemClock{}, Root: r.root},
	}
	scans, err := buses(cfg, r.board, h.options.Clock, chip.way)
	if err != nil {
		t.Fatal(err)
	}
	engine, err := analysis.New(cfg.Analysis)
	if err != nil {
		t.Fatal(err)
	}
	if r.loop, err = h.loop(engine); err != nil {
		t.Fatal(err)
	}
	r.loop.after = append(r.loop.after, func(s *status.Status) {
		r.last = s
		for _, e := range s.Assessment.Events {
			if e.Kind == analysis.AlarmChanged && e.Change == alarm.WasRaised {
				r.first[e.Alarm.Key.String()] = time.Since(r.began)
			}
		}
	})
	for _, s := range scans {
		h.tasks = append(h.tasks, task{s.String(), s.Run})
	}
	ctx, cancel := context.WithCancel(t.Context())
	done := make(chan error)
	for _, task := range h.tasks {
		go func() { done <- task.run(ctx) }()
	}
	t.Cleanup(func() {
		cancel()
		for range h.tasks {
			if err := <-done; err != nil {
				t.Error(err)
			}
		}
		if err := r.bench.Close(); err != nil {
			t.Error(err)
		}
	})
	r.began = time.Now()
	return r
}

// do gives the bench control lines and begins to count from there.
func (r *rig) do(lines ...string) {
	r.t.Helper()
	for _, l := range lines {
		if _, err := r.bench.Do(l); err != nil {
			r.t.Fatal(err)
		}
	}
	r.began = time.Now()
	clear(r.first)
}

func (r *rig) supplyIs(alarm string) {
	r.t.Helper()
	dir := filepath.Join(r.root, "sys/class/hwmon/hwmon1")
	if err := os.MkdirAll(dir, 0o755); err != nil {
		r.t.Fatal(err)
	}
	for name, text := range map[string]string{"name": "rpi_volt", "in0_lcrit_alarm": alarm} {
		// At once, as the kernel does: somebody may be reading.
		file := filepath.Join(dir, name)
		if err := errors.Join(os.WriteFile(file+".new", []byte(text+"\n"), 0o644), os.Rename(file+".new", file)); err != nil {
			r.t.Fatal(err)
		}
	}
}

// run lets time pass and the loop tick.
func (r *rig) run(d time.Duration) {
	for end := time.Now().Add(d); time.Now().Before(end); {
		r.loop.tick(time.Now())
		time.Sleep(r.loop.period)
	}
}

// burning is an ordinary burn, pinned.
func (r *rig) burning() {
	r.do("pin flue 60", "pin chamber 60", "pin draft 12")
	r.run(time.Minute)
	r.do("pin flue 250", "pin chamber 600")
	r.run(time.Minute)
}

// alarm returns what an alarm says now, empty if it does not stand.
func (r *rig) alarm(key string) (message_, action string) {
	r.t.Helper()
	i := slices.IndexFunc(r.last.Assessment.Alarms, func(a alarm.Status) bool { return a.Key.String() == key })
	if i < 0 {
		r.t.Fatalf("no alarm %s", key)
	}
	if a := r.last.Assessment.Alarms[i]; a.State.Standing() {
		return message.Alarm(a, r.last.Assessment.Account(a.Key), r.last.WallOf, units.SI)
	}
	return "", ""
}

func (r *rig) quality(c frame.Channel) frame.Quality { return r.last.Frame.Inputs[c].Quality }

// Each way of failing that is known from the field, set up on the bench: what the person
// is told, and what first to do. Faults of the wiring, of the chip and of the bus have
// words of their own.
func TestFailuresAreSaidByTheirNames(t *testing.T) {
	tests := []struct {
		name         string
		fault        []string      // control lines
		after        time.Duration // until it must be said
		key          string        // the alarm that says it
		says, advise string
		stays        string // an alarm that has to stand beside it
	}{
		{"the bus is held down", []string{"fault i2c-1 timeout"}, 40 * time.Second, "sensor-lost/draft", "the bus is held down", "Power the board off and on", ""},
		{"one chip does not answer", []string{"fault draft nack"}, 30 * time.Second, "sensor-lost/draft", "the chip does not answer", "Check the chip's power", ""},
		{"a long wire spoils the answer", []string{"fault draft crc"}, 30 * time.Second, "sensor-lost/draft", "fails its checksum", "loose or long wire", ""},
		{"an SPI line floats low", []string{"fault flue stuck-00"}, 30 * time.Second, "sensor-lost/flue", "the data line stays low", "Check the chip's 3.3 V", ""},
		{"an SPI line floats high", []string{"fault flue stuck-ff"}, 30 * time.Second, "sensor-lost/flue", "the data line stays high", "data-out wire", ""},
		{"another part", []string{"fault draft wrong-part", "fault draft brown-out"}, 30 * time.Second, "sensor-lost/draft", "another chip than the configured one", "Compare the chip's marking", ""},
		{"a wire is off", []string{"fault flue open"}, 30 * time.Second, "sensor-lost/flue", "thermocouple open", "Check the thermocouple's screws", ""},
		{"a ground loop", []string{"fault flue over-voltage"}, 30 * time.Second, "sensor-lost/flue", "input above or below the supply", "Look for a ground loop", ""},
		{"beyond the type's range", []string{"fault flue out-of-range"}, 30 * time.Second, "sensor-lost/flue", "outside what the sensor can measure", "configured thermocouple type", ""},
		{"a thermocouple that has stopped", []string{"fault flue frozen"}, time.Minute, "sensor-lost/flue", "repeats one value for ever", "Power the board off and on", ""},
		{"a pressure sensor that has stopped", []string{"fault draft frozen"}, time.Minute, "sensor-lost/draft", "repeats one value for ever", "Power the board off and on", ""},
		{"hot terminals", []string{"fault flue cold-junction-hot"}, 30 * time.Second, "sensor-lost/flue", "terminals of the amplifier outside their range", "Check that the amplifier is not at a hot surface", ""},
		{"wires swapped", []string{"fault flue wires-swapped", "pin flue 150"}, 2 * time.Minute, "sensor-lost/flue", "thermocouple wires swapped", "Swap the thermocouple's two wires", ""},
		{"wires swapped at a hot fire", []string{"fault flue wires-swapped", "pin flue 400"}, time.Minute, "sensor-lost/flue", "outside what the sensor can measure", "wires are not swapped", ""},
		{"the probe is pulled out", []string{"fault flue probe-out"}, 6 * time.Minute, "sensor-implausible/flue", "the probe seems to be out of its place", "Put the probe back", ""},
		{"the hose is off", []string{"fault draft hose-off"}, 4 * time.Minute, "sensor-implausible/draft", "the hose is off or blocked, or the chimney", "First take it for a chimney", "spillage"},
		{"the hose is on the wrong port", []string{"fault draft hose-swapped"}, 4 * time.Minute, "sensor-implausible/draft", "turned, or hoses swapped", "First take it for a turned draft", "spillage"},
		{"the hose is blocked", []string{"fault draft tube-blocked"}, 10 * time.Minute, "sensor-implausible/draft", "the hose is off or blocked, or the chimney", "First take it for a chimney", "spillage"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				r := newRig(t)
				r.burning()
				r.do(tt.fault...)
				r.run(tt.after)
				says, advise := r.alarm(tt.key)
				if !strings.Contains(says, tt.says) || !strings.Contains(advise, tt.advise) {
					t.Errorf("%s says %q and advises %q\nlast frame %+v", tt.key, says, advise, r.last.Frame.Inputs)
				}
				if tt.stays != "" {
					if says, _ := r.alarm(tt.stays); says == "" {
						t.Errorf("%s does not stand beside it", tt.stays)
					}
				}
				channel, _ := frame.Parse(tt.key[strings.Index(tt.key, "/")+1:])
				if q := r.quality(channel); q == frame.Good {
					t.Errorf("%v is good", channel)
				}
				if !r.last.Assessment.Phase.Fire() {
					t.Errorf("the fire is out for the monitor: %v", r.last.Assessment.Phase)
				}
			})
		})
	}
}

// What makes a reading doubtful and does not take it away: the words stand at the
// reading.
func TestDoubtsAreSaidAtTheReading(t *testing.T) {
	tests := map[string]struct {
		fault   string
		after   time.Duration
		channel frame.Channel
		says    string
	}{
		"terminals above 60 °C": {"fault flue warm-terminals", 10 * time.Second, frame.Flue, "terminals of the amplifier are hot"},
		"terminals that jump":   {"fault flue jumping-terminals", 10 * time.Second, frame.Flue, "terminals of the amplifier jump"},
		"a blower's relay":      {"fault flue spikes", 20 * time.Second, frame.Flue, "spikes in the reading"},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				r := newRig(t)
				r.burning()
				r.do(tt.fault)
				r.run(tt.after)
				in := r.last.Frame.Inputs[tt.channel]
				if in.Quality != frame.Suspect || !strings.Contains(sensors.Code(in.Fault).Info().Title, tt.says) {
					t.Errorf("%+v", in)
				}
				if in.Value > 300 {
					t.Errorf("a spike came through: %v °C", in.Value)
				}
				if len(r.first) > 0 {
					t.Errorf("alarms %v", r.first)
				}
			})
		})
	}
}

// A night's own turbulence, and then none.
func TestABlockedHoseFallsStill(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		r := newRig(t)
		r.do("light 12 16%")
		r.run(40 * time.Minute)
		if in := r.last.Frame.Inputs[frame.Draft]; in.Quality != frame.Good || len(r.first) > 0 {
			t.Fatalf("an ordinary burn: %+v, alarms %v", in, r.first)
		}
		r.do("fault draft tube-blocked")
		r.run(10 * time.Minute)
		reading := r.board.Reading("draft", sensors.DifferentialPressure, time.Now())
		if reading.Quality != sensors.Suspect || reading.Doubt != sensors.TubeBlocked {
			t.Errorf("the chip's own look: %s %q", reading.Quality, reading.Doubt)
		}
		if says, _ := r.alarm("sensor-implausible/draft"); !strings.Contains(says, "nothing moves in the draft hose") {
			t.Errorf("says %q", says)
		}
		// Whether the chimney draws is then not known: that is said, and no spillage.
		if says, _ := r.alarm("spillage"); says != "" {
			t.Errorf("the sensor's fault is told as %q", says)
		}
	})
}

// A zero that has drifted shows in the summer, when a cold chimney cannot draw; without an
// outdoor sensor only a zero shows that is beyond every winter.
func TestZeroDriftInAColdHouse(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		r := newRig(t)
		r.do("pin flue 20", "pin chamber 20", "pin draft 35", "pin room 20")
		r.run(40 * time.Minute)
		says, advise := r.alarm("sensor-implausible/draft")
		if !strings.Contains(says, "zero has drifted") || !strings.Contains(advise, "Zero the draft sensor") {
			t.Errorf("says %q, advises %q", says, advise)
		}
	})
}

func TestSupplyDipIsBlamed(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		r := newRig(t)
		r.burning()
		r.supplyIs("1")
		time.Sleep(50 * time.Millisecond) // within a look, the request that ends it would set the chip up again
		r.do("fault flue brown-out", "fault draft brown-out")
		r.run(5 * time.Second)
		if s := r.last.Supply; !s.Watched || !s.Low || s.Dips != 1 {
			t.Errorf("supply %+v", s)
		}
		if !strings.Contains(r.said.String(), "supply voltage dipped") || !strings.Contains(r.said.String(), "stronger power supply") {
			t.Errorf("log:\n%s", r.said.String())
		}
		i := slices.IndexFunc(r.last.Sensors, func(s status.Sensor) bool { return s.Name == "flue" })
		if n := r.last.Sensors[i].Faults[sensors.LostConfiguration]; n != 1 || r.quality(frame.Flue) != frame.Good {
			t.Errorf("%d losses of configuration, flue %v: it was to be set up again", n, r.quality(frame.Flue))
		}
		at := time.Now()
		w := &supplyWatch{now: status.Supply{LastDip: at}}
		lost := &sensors.Fault{Code: sensors.LostConfiguration}
		if f := w.blame(lost, at.Add(5*time.Second)); !strings.Contains(f.Hint(), "dipped at the same time") || lost.Advice != "" {
			t.Errorf("hint %q", f.Hint())
		}
		if f := w.blame(lost, at.Add(time.Minute)); f != lost {
			t.Errorf("a dip a minute ago is blamed: %q", f.Hint())
		}
		r.supplyIs("0")
		r.run(2 * time.Second)
		if r.last.Supply.Low {
			t.Error("still low")
		}
		r.supplyIs("") // one look that fails
		r.run(3 * time.Second)
		if s := r.last.Supply; s.Watched || s.Low {
			t.Errorf("unreadable, and yet %+v", s)
		}
		r.supplyIs("0")
		r.run(3 * time.Second)
		if !r.last.Supply.Watched {
			t.Error("a look that failed has ended the watch")
		}
	})
}

func TestAnExchangedChipIsReported(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		r := newRig(t)
		r.burning()
		r.do("fault draft exchanged", "fault draft brown-out")
		r.run(15 * time.Second)
		i := slices.IndexFunc(r.last.Sensors, func(s status.Sensor) bool { return s.Name == "draft" })
		if s := r.last.Sensors[i]; s.Former != "445566778899aabb" || s.Serial != "445566778899aabc" {
			t.Errorf("serial %q, before %q", s.Serial, s.Former)
		}
		if !strings.Contains(r.said.String(), "another specimen of the chip answers") {
			t.Errorf("log:\n%s", r.said.String())
		}
	})
}

// The promise that a burst and the rejection of spikes must not break: from the gas to
// the alarm within three seconds, even for a step that no probe can make.
func TestOverheatIsOutWithinThreeSeconds(t *testing.T) {
	for phase := range 6 {
		synctest.Test(t, func(t *testing.T) {
			r := newRig(t, func(c *config.Config) {
				c.Sampling.Burst = []int{1, 3, 5}[phase%3]
				if phase%2 == 1 {
					for i := range c.Sensors {
						if c.Sensors[i].Thermocouple != "" {
							c.Sensors[i].Lag = 35 * time.Second
						}
					}
				}
			})
			r.burning()
			r.run(2 * time.Minute) // the lag of a pinned step is made up for, far beyond it
			if says, _ := r.alarm("overheat/flue"); says != "" {
				t.Fatalf("too hot before it is: %s", says)
			}
			time.Sleep(time.Duration(phase) * 80 * time.Millisecond)
			r.do("pin flue 620")
			r.run(4 * time.Second)
			if took, ok := r.first["overheat/flue"]; !ok || took > 3*time.Second {
				t.Errorf("phase %d: raised after %v (%v)", phase, took, ok)
			}
		})
	}
}
