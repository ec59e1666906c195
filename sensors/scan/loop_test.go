package scan

import (
	"context"
	"errors"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"

	"github.com/google/go-cmp/cmp"

	"fluewright/sensors"
)

func TestDiagnosedFaultTakesTheValueAtOnce(t *testing.T) {
	for _, code := range []sensors.Code{
		sensors.OpenCircuit, sensors.InputVoltage, sensors.OutOfRange, sensors.StuckLow, sensors.StuckHigh,
		sensors.LostConfiguration, sensors.WrongPart, sensors.ImpossibleFrame, sensors.BusDown, sensors.DeviceMissing,
	} {
		t.Run(string(code), func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				f := newFake("chip")
				// The loop may look again at once; the second look finds nothing new.
				f.outcomes(nil, fault(code), fault(sensors.NotReady), fault(sensors.NotReady), nil)
				b := run(t, nil, f.slot("flue"))
				if r := check(t, b, "flue", sensors.Good, ""); r.Value != 20 {
					t.Errorf("value %v", r.Value)
				}
				pass(time.Second)
				check(t, b, "flue", sensors.Faulty, code)
				pass(3 * time.Second)
				check(t, b, "flue", sensors.Good, "")
			})
		})
	}
}

func TestFailedTransferIsForgivenOnce(t *testing.T) {
	for _, code := range []sensors.Code{sensors.BadChecksum, sensors.BusError, sensors.NoAnswer, sensors.MuxNoAnswer} {
		t.Run(string(code), func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				f := newFake("chip")
				f.outcomes(nil, fault(code))
				f.start = func() error {
					if len(f.starts()) > 1 {
						return fault(code)
					}
					return nil
				}
				b := run(t, nil, f.slot("flue"))
				pass(time.Second)
				check(t, b, "flue", sensors.Good, "") // 1.5 s old
				pass(time.Second)
				check(t, b, "flue", sensors.Faulty, code) // 2.5 s old
			})
		})
	}
}

func TestNothingNewLetsTheSampleAge(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		f := newFake("chip")
		f.outcomes(nil, fault(sensors.NotReady))
		b := run(t, nil, f.slot("flue"))
		pass(4 * time.Second)
		check(t, b, "flue", sensors.Good, "")
		pass(time.Second)
		check(t, b, "flue", sensors.Stale, "")
	})
}

// A transfer that hangs in the kernel keeps the loop; the readings go stale without it.
func TestHungBusGoesStale(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		f := newFake("chip")
		hang := make(chan struct{})
		f.sense = func() (sensors.Sample, error) {
			if len(f.looks()) > 1 {
				<-hang
			}
			return celsius(20), nil
		}
		b := run(t, nil, f.slot("flue"))
		check(t, b, "flue", sensors.Good, "")
		pass(time.Minute)
		check(t, b, "flue", sensors.Stale, "")
		close(hang)
	})
}

func TestStartedAgainAtOnce(t *testing.T) {
	for _, code := range []sensors.Code{
		sensors.LostConfiguration, sensors.WrongPart, sensors.StuckLow, sensors.StuckHigh, sensors.NoAnswer, sensors.ImpossibleFrame,
	} {
		t.Run(string(code), func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				f := newFake("chip")
				f.outcomes(nil, fault(code), nil)
				b := run(t, nil, f.slot("flue"))
				pass(time.Second)
				check(t, b, "flue", sensors.Good, "")
				if diff := cmp.Diff([]int{0, 1}, seconds(f.starts())); diff != "" {
					t.Errorf("starts at (-want +got):\n%s", diff)
				}
				if s, _ := b.Status("flue"); s.Starts != 2 || s.Faults[code] != 1 {
					t.Errorf("status %+v", s)
				}
			})
		})
	}
}

func TestChipBacksOff(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		sick, well := newFake("sick"), newFake("well")
		var cured atomic.Bool
		sick.start = func() error {
			if cured.Load() {
				return nil
			}
			return fault(sensors.NoAnswer)
		}
		b := run(t, &closer{}, sick.slot("flue"), well.slot("plenum"))
		pass(40 * time.Second)
		if diff := cmp.Diff([]int{0, 1, 3, 8, 18, 28, 38}, seconds(sick.starts())); diff != "" {
			t.Errorf("starts at (-want +got):\n%s", diff)
		}
		check(t, b, "flue", sensors.Faulty, sensors.NoAnswer)
		check(t, b, "plenum", sensors.Good, "")
		if len(well.looks()) != 41 {
			t.Errorf("the other chip was looked at %d times, want 41", len(well.looks()))
		}
		if int(sick.closes.Load()) != len(sick.starts()) {
			t.Errorf("port closed %d times, want after each of %d starts", sick.closes.Load(), len(sick.starts()))
		}
		cured.Store(true)
		pass(9 * time.Second)
		check(t, b, "flue", sensors.Good, "")
	})
}

// After a while of failed transfers the chip is started anew.
func TestFailedTransfersLeadToAStart(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		f := newFake("chip")
		bad := fault(sensors.BadChecksum)
		f.outcomes(nil, bad, bad, bad, nil)
		run(t, nil, f.slot("flue"))
		pass(3 * time.Second)
		if diff := cmp.Diff([]int{0, 3}, seconds(f.starts())); diff != "" {
			t.Errorf("starts at (-want +got):\n%s", diff)
		}
	})
}

func TestWiringFaultNeedsNoStart(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		f := newFake("chip")
		f.outcomes(fault(sensors.OpenCircuit))
		run(t, nil, f.slot("flue"))
		pass(10 * time.Second)
		if len(f.starts()) != 1 || len(f.looks()) != 11 {
			t.Errorf("%d starts, %d looks, want 1 and 11", len(f.starts()), len(f.looks()))
		}
	})
}

// A bus that is held down costs a second a transfer: one is enough for all its chips.
func TestBusDown(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		shared := &closer{}
		first, second := newFake("first"), newFake("second")
		var down atomic.Bool
		first.sense = func() (sensors.Sample, error) {
			if down.Load() {
				time.Sleep(time.Second)
				return sensors.Sample{}, fault(sensors.BusDown)
			}
			return celsius(20), nil
		}
		b := run(t, shared, first.slot("draft"), second.slot("ambient"))
		down.Store(true)
		pass(1700 * time.Millisecond)
		r := check(t, b, "draft", sensors.Faulty, sensors.BusDown)
		if r.Fault.Device != "fake" {
			t.Errorf("the fault of the chip that saw it is %s's", r.Fault.Device)
		}
		r = check(t, b, "ambient", sensors.Faulty, sensors.BusDown)
		if r.Fault.Device != "second" || r.Fault.Detail != "seen at fake" {
			t.Errorf("the other chip's fault is %v", r.Fault)
		}
		if shared.closes.Load() != 1 {
			t.Errorf("bus closed %d times, want once", shared.closes.Load())
		}
		pass(30 * time.Second)
		if r = check(t, b, "ambient", sensors.Faulty, sensors.BusDown); r.Fault.Device != "second" {
			t.Errorf("later the other chip's fault is %s's", r.Fault.Device)
		}
		// Looks at 0 and 1; each failure is seen a second later, and then 1, 2, 5 and
		// 10 s go by, to the next round.
		if diff := cmp.Diff([]int{0, 1, 3, 6, 12, 23}, seconds(first.looks())); diff != "" {
			t.Errorf("looks at (-want +got):\n%s", diff)
		}
		if len(second.looks()) != 1 {
			t.Errorf("the other chip was looked at %d times while the bus was down", len(second.looks())-1)
		}
		down.Store(false)
		pass(10 * time.Second)
		check(t, b, "draft", sensors.Good, "")
		check(t, b, "ambient", sensors.Good, "")
		if s, _ := b.Status("draft"); s.BusRecoveries != 5 {
			t.Errorf("%d recoveries, want 5", s.BusRecoveries)
		}
	})
}

func TestDeviceAppearsLate(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		f := newFake("chip")
		var there atomic.Bool
		slot := f.slot("draft")
		slot.Open = func(context.Context) (sensors.Sensor, error) {
			if !there.Load() {
				return nil, fault(sensors.DeviceMissing)
			}
			return f, nil
		}
		b := run(t, &closer{}, slot)
		check(t, b, "draft", sensors.Faulty, sensors.DeviceMissing)
		there.Store(true)
		pass(time.Second)
		check(t, b, "draft", sensors.Good, "")
	})
}

func TestAllChipsSilentMeansTheBus(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		shared := &closer{}
		chips := []*fake{newFake("a"), newFake("b")}
		var silent atomic.Bool
		for _, f := range chips {
			f.sense = func() (sensors.Sample, error) {
				if silent.Load() {
					return sensors.Sample{}, fault(sensors.NoAnswer)
				}
				return celsius(20), nil
			}
		}
		b := run(t, shared, chips[0].slot("a"), chips[1].slot("b"))
		silent.Store(true)
		pass(time.Second)
		if shared.closes.Load() != 1 {
			t.Errorf("bus closed %d times, want once", shared.closes.Load())
		}
		pass(time.Second)
		check(t, b, "a", sensors.Faulty, sensors.NoAnswer)
		silent.Store(false)
		pass(10 * time.Second)
		check(t, b, "a", sensors.Good, "")
		check(t, b, "b", sensors.Good, "")
	})
}

// A chip of the wrong part answers: the bus is well.
func TestOneWrongPartIsNotTheBus(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		shared := &closer{}
		wrong, dead := newFake("wrong"), newFake("dead")
		wrong.start = func() error { return fault(sensors.WrongPart) }
		dead.start = func() error { return fault(sensors.NoAnswer) }
		run(t, shared, wrong.slot("a"), dead.slot("b"))
		pass(30 * time.Second)
		if shared.closes.Load() != 0 {
			t.Errorf("bus closed %d times", shared.closes.Load())
		}
	})
}

func TestEndsCleanly(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		shared, port := &closer{}, &closer{}
		idle, busy := newFake("idle"), newFake("busy")
		busy.sense = func() (sensors.Sample, error) {
			time.Sleep(time.Second)
			return celsius(20), nil
		}
		slow := busy.slot("busy")
		slow.Open = func(context.Context) (sensors.Sensor, error) { return WithPort(busy, port), nil }
		l, err := New(NewBoard(), Config{Name: "test", Period: time.Second, Bus: shared, Slots: []Slot{idle.slot("idle"), slow}})
		if err != nil {
			t.Fatal(err)
		}
		ctx, cancel := context.WithCancel(t.Context())
		done := make(chan error)
		go func() { done <- l.Run(ctx) }()
		pass(500 * time.Millisecond)
		cancel()
		cancelled := time.Now()
		if err := <-done; err != nil {
			t.Errorf("run: %v", err)
		}
		if took := time.Since(cancelled); took > 500*time.Millisecond {
			t.Errorf("took %v to end, want the rest of the transfer", took)
		}
		if idle.halts.Load() != 1 || busy.halts.Load() != 1 || shared.closes.Load() != 1 || port.closes.Load() != 1 {
			t.Errorf("halts %d and %d, bus closed %d, port closed %d, want 1 each", idle.halts.Load(), busy.halts.Load(), shared.closes.Load(), port.closes.Load())
		}
	})
}

// A start that was cut short by the end is no fault.
func TestEndDuringAStart(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		f := newFake("chip")
		b := NewBoard()
		ctx, cancel := context.WithCancel(t.Context())
		f.start = func() error { cancel(); return ctx.Err() }
		l, err := New(b, Config{Name: "test", Period: time.Second, Slots: []Slot{f.slot("flue")}})
		if err != nil {
			t.Fatal(err)
		}
		if err := l.Run(ctx); err != nil {
			t.Error(err)
		}
		check(t, b, "flue", sensors.Absent, "")
		if f.halts.Load() != 0 || f.closes.Load() != 1 {
			t.Errorf("%d halts, %d closes, want 0 and 1", f.halts.Load(), f.closes.Load())
		}
	})
}

// Rounds that a slow chip has cost are not made up for, and the phase stays.
func TestSlowChipDoesNotPileUp(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		f := newFake("chip")
		f.sense = func() (sensors.Sample, error) {
			if len(f.looks()) == 2 {
				time.Sleep(2500 * time.Millisecond)
			}
			return celsius(20), nil
		}
		run(t, nil, f.slot("flue"))
		pass(5 * time.Second)
		if diff := cmp.Diff([]int{0, 1, 4, 5}, seconds(f.looks())); diff != "" {
			t.Errorf("looks at (-want +got):\n%s", diff)
		}
	})
}

func TestErrorWithoutAFault(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		f := newFake("chip")
		f.outcomes(errors.New("what was that"))
		b := run(t, nil, f.slot("flue"))
		r := check(t, b, "flue", sensors.Faulty, sensors.BusError)
		if r.Fault.Device != "chip" || r.Fault.Err == nil {
			t.Errorf("fault %v", r.Fault)
		}
	})
}

func TestNewRefuses(t *testing.T) {
	f := newFake("chip")
	for name, c := range map[string]Config{
		"no period":  {Slots: []Slot{f.slot("a")}},
		"same names": {Period: time.Second, Slots: []Slot{f.slot("a"), f.slot("a")}},
	} {
		if _, err := New(NewBoard(), c); err == nil {
			t.Errorf("%s: no error", name)
		}
	}
}

func steadyLoop(tb testing.TB) *Loop {
	tb.Helper()
	f := newFake("chip")
	f.forgets = true
	l, err := New(NewBoard(), Config{Name: "test", Period: time.Second, Slots: []Slot{f.slot("flue")}})
	if err != nil {
		tb.Fatal(err)
	}
	l.round(context.Background())
	return l
}

func TestRoundDoesNotAllocate(t *testing.T) {
	l := steadyLoop(t)
	if n := testing.AllocsPerRun(100, func() { l.round(context.Background()) }); n != 0 {
		t.Errorf("%v allocations in a round, want none", n)
	}
}

func BenchmarkRound(b *testing.B) {
	l := steadyLoop(b)
	b.ReportAllocs()
	for b.Loop() {
		l.round(context.Background())
	}
}

func BenchmarkReading(b *testing.B) {
	board := NewBoard()
	c, err := board.add("flue", 5*time.Second, 2*time.Second)
	if err != nil {
		b.Fatal(err)
	}
	now := time.Now()
	c.got(celsius(20), now, 0)
	b.ReportAllocs()
	for b.Loop() {
		board.Reading("flue", sensors.HotJunction, now)
	}
}

// Loops that do not begin at the same time look at the same time all the same.
func TestBusesAreLookedAtTogether(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		f, g := newFake("flue"), newFake("draft")
		b := run(t, nil, f.slot("flue"))
		runOn(t, b, nil, g.slot("draft"))
		pass(2 * time.Second)
		if diff := cmp.Diff([]time.Duration{0, time.Second, 2 * time.Second, 3 * time.Second}, f.looks()); diff != "" {
			t.Errorf("looks at the first (-want +got):\n%s", diff)
		}
		if diff := cmp.Diff([]time.Duration{500 * time.Millisecond, time.Second, 2 * time.Second, 3 * time.Second}, g.looks()); diff != "" {
			t.Errorf("looks at the second (-want +got):\n%s", diff)
		}
	})
}
