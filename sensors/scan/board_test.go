package scan

import (
	"context"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"fluewright/sensors"
)

func TestReadingByAge(t *testing.T) {
	b := NewBoard()
	c, err := b.add("flue", 5*time.Second, 2*time.Second)
	if err != nil {
		t.Fatal(err)
	}
	now := time.Now()
	at := func(d time.Duration) sensors.Reading { return b.Reading("flue", sensors.HotJunction, now.Add(d)) }
	if got := at(0).Quality; got != sensors.Absent {
		t.Errorf("before the first sample: %s", got)
	}
	s := celsius(300)
	s.Taken = now.Add(-time.Second)
	s.Raw = sensors.RawOf([]byte{1, 2})
	c.got(s, now, 0)
	if got := at(4 * time.Second); got.Quality != sensors.Good || got.Value != 300 || got.Raw != s.Raw || !got.Taken.Equal(s.Taken) {
		t.Errorf("five seconds old: %+v", got)
	}
	if got := at(4*time.Second + 1); got.Quality != sensors.Stale || got.Value != 0 {
		t.Errorf("older: %+v", got)
	}
	if got := b.Reading("flue", sensors.RelativeHumidity, now).Quality; got != sensors.Absent {
		t.Errorf("what the chip does not measure: %s", got)
	}
	if got := b.Reading("other", sensors.HotJunction, now).Quality; got != sensors.Absent {
		t.Errorf("no such slot: %s", got)
	}
	s.Doubt = sensors.ColdJunctionHot
	c.got(s, now, 0)
	if got := at(0); got.Quality != sensors.Suspect || got.Value != 300 || got.Doubt != sensors.ColdJunctionHot {
		t.Errorf("doubtful: %+v", got)
	}
}

func TestReadingDoesNotAllocate(t *testing.T) {
	b := NewBoard()
	c, err := b.add("flue", 5*time.Second, 2*time.Second)
	if err != nil {
		t.Fatal(err)
	}
	now := time.Now()
	c.got(celsius(20), now, 0)
	for name, now := range map[string]time.Time{"good": now, "stale": now.Add(time.Hour)} {
		if n := testing.AllocsPerRun(100, func() { b.Reading("flue", sensors.HotJunction, now) }); n != 0 {
			t.Errorf("%s: %v allocations, want none", name, n)
		}
	}
}

// Whatever happens to a chip, a value is never older than its limit, never survives a
// diagnosed fault, and a failed transfer costs it after the patience at the latest.
func TestNoValueThatOughtNotToBe(t *testing.T) {
	outcomes := []sensors.Code{
		"sample", "sample", sensors.NotReady, sensors.NoAnswer, sensors.BadChecksum, sensors.BusError,
		sensors.BusDown, sensors.OpenCircuit, sensors.StuckLow, sensors.LostConfiguration, sensors.WrongPart,
	}
	rapid.Check(t, func(t *rapid.T) {
		const stale, patience = 5 * time.Second, 2250 * time.Millisecond
		b := NewBoard()
		c, err := b.add("x", stale, patience)
		if err != nil {
			t.Fatal(err)
		}
		now := time.Unix(0, 0)
		var taken, seen time.Time
		diagnosed, failed := false, false
		for range rapid.IntRange(1, 30).Draw(t, "looks") {
			now = now.Add(time.Duration(rapid.IntRange(1, 4000).Draw(t, "ms")) * time.Millisecond)
			switch code := rapid.SampledFrom(outcomes).Draw(t, "outcome"); code {
			case "sample":
				taken = now.Add(-time.Duration(rapid.IntRange(0, 2000).Draw(t, "age")) * time.Millisecond)
				s := celsius(20)
				s.Taken = taken
				c.got(s, now, 0)
				seen, diagnosed, failed = now, false, false
			case sensors.NotReady:
				c.nothing(0)
			default:
				c.failed(&sensors.Fault{Code: code}, now, 0)
				failed = true
				diagnosed = diagnosed || !transient(code)
			}
			at := now.Add(time.Duration(rapid.IntRange(0, 8000).Draw(t, "later")) * time.Millisecond)
			r := b.Reading("x", sensors.HotJunction, at)
			want := !seen.IsZero() && at.Sub(taken) <= stale && !diagnosed && (!failed || at.Sub(seen) < patience)
			if got := r.Quality == sensors.Good; got != want {
				t.Fatalf("good: %v, want %v (%s, fault %v)", got, want, r.Quality, r.Fault)
			}
			if (r.Quality == sensors.Faulty) != (r.Fault != nil) {
				t.Fatalf("%s with fault %v", r.Quality, r.Fault)
			}
		}
	})
}

func TestStatus(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		f := newFake("chip on bus")
		f.outcomes(nil, fault(sensors.NotReady), fault(sensors.BadChecksum), fault(sensors.OpenCircuit), nil)
		began := time.Now()
		b := run(t, nil, f.slot("flue"))
		if s, _ := b.Status("flue"); !s.Up || s.Device != "chip on bus" || !s.LastSuccess.Equal(began) {
			t.Errorf("after a sample: %+v", s)
		}
		pass(time.Second)
		if s, _ := b.Status("flue"); !s.Up || s.NotReady != 1 {
			t.Errorf("not ready: %+v", s)
		}
		pass(2 * time.Second)
		s, _ := b.Status("flue")
		if s.Up || s.LastFault.Code != sensors.OpenCircuit || !s.LastFaultAt.Equal(began.Add(3*time.Second)) {
			t.Errorf("at fault: %+v", s)
		}
		want := map[sensors.Code]uint64{sensors.BadChecksum: 1, sensors.OpenCircuit: 1}
		if diff := cmp.Diff(want, s.Faults); diff != "" {
			t.Errorf("faults (-want +got):\n%s", diff)
		}
		pass(time.Second)
		if s, _ := b.Status("flue"); !s.Up || s.Samples != 2 || s.Starts != 1 {
			t.Errorf("well again: %+v", s)
		}
		if _, ok := b.Status("other"); ok {
			t.Error("a slot that does not exist has a status")
		}
	})
}

// For the race detector.
func TestManyReaders(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		f := newFake("chip")
		f.outcomes(nil, fault(sensors.BadChecksum), fault(sensors.LostConfiguration), nil)
		b := run(t, nil, f.slot("flue"))
		var wg sync.WaitGroup
		for range 4 {
			wg.Go(func() {
				for range 50 {
					b.Reading("flue", sensors.HotJunction, time.Now())
					b.Status("flue")
					_ = sensors.SystemClock{}.Sleep(context.Background(), 100*time.Millisecond)
				}
			})
		}
		wg.Wait()
	})
}
