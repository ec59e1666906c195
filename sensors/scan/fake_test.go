package scan

import (
	"context"
	"errors"
	"slices"
	"sync"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"

	"fluewright/sensors"
)

// fake is a chip that does as the test says and remembers what was done to it.
type fake struct {
	name    string
	start   func() error
	sense   func() (sensors.Sample, error)
	began   time.Time
	forgets bool // for benchmarks

	halts, closes atomic.Int32

	mu      sync.Mutex
	started []time.Duration // when, since the test began
	looked  []time.Duration
}

func (f *fake) String() string { return f.name }

func (f *fake) Start(context.Context) error {
	f.note(&f.started)
	if f.start != nil {
		return f.start()
	}
	return nil
}

func (f *fake) Sense(context.Context) (sensors.Sample, error) {
	f.note(&f.looked)
	return f.sense()
}

func (f *fake) Halt() error { f.halts.Add(1); return nil }

func (f *fake) Close() error { f.closes.Add(1); return nil }

func (f *fake) note(times *[]time.Duration) {
	f.mu.Lock()
	defer f.mu.Unlock()
	if !f.forgets {
		*times = append(*times, time.Since(f.began))
	}
}

func (f *fake) starts() []time.Duration {
	f.mu.Lock()
	defer f.mu.Unlock()
	return slices.Clone(f.started)
}

func (f *fake) looks() []time.Duration {
	f.mu.Lock()
	defer f.mu.Unlock()
	return slices.Clone(f.looked)
}

// newFake is a chip that measures 20 °C.
func newFake(name string) *fake {
	return &fake{name: name, began: time.Now(), sense: func() (sensors.Sample, error) { return celsius(20), nil }}
}

func celsius(v float64) sensors.Sample {
	var s sensors.Sample
	s.Set(sensors.HotJunction, v)
	return s
}

func fault(c sensors.Code) error {
	return &sensors.Fault{Code: c, Device: "fake", Err: errors.New("no")}
}

// outcomes makes sense go through errs, nil being a sample, and stay with the last.
func (f *fake) outcomes(errs ...error) {
	f.sense = func() (sensors.Sample, error) {
		err := errs[0]
		if len(errs) > 1 {
			errs = errs[1:]
		}
		if err != nil {
			return sensors.Sample{}, err
		}
		return celsius(20), nil
	}
}

func (f *fake) slot(name string) Slot {
	return Slot{Name: name, Open: func(context.Context) (sensors.Sensor, error) { return f, nil }}
}

// closer is a shared bus.
type closer struct{ closes atomic.Int32 }

func (c *closer) Close() error { c.closes.Add(1); return nil }

// run starts a loop with a period of one second, half a second before which the caller
// goes on, so that what it sees lies between two looks. The loop ends with the test.
func run(t *testing.T, bus *closer, slots ...Slot) *Board {
	t.Helper()
	b := NewBoard()
	runOn(t, b, bus, slots...)
	return b
}

// runOn is run for a board that may have other loops.
func runOn(t *testing.T, b *Board, bus *closer, slots ...Slot) {
	t.Helper()
	c := Config{Name: "test", Period: time.Second, Slots: slots}
	if bus != nil {
		c.Bus = bus
	}
	l, err := New(b, c)
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(t.Context())
	done := make(chan error)
	go func() { done <- l.Run(ctx) }()
	t.Cleanup(func() {
		cancel()
		if err := <-done; err != nil {
			t.Errorf("run: %v", err)
		}
	})
	pass(500 * time.Millisecond)
}

// pass lets the bubble's time pass and everything that is due in it happen.
func pass(d time.Duration) {
	time.Sleep(d)
	synctest.Wait()
}

// seconds is what is left of times when rounded to seconds.
func seconds(times []time.Duration) []int {
	s := make([]int, len(times))
	for i, d := range times {
		s[i] = int(d.Round(time.Second) / time.Second)
	}
	return s
}

func check(t *testing.T, b *Board, name string, want sensors.Quality, code sensors.Code) sensors.Reading {
	t.Helper()
	r := b.Reading(name, sensors.HotJunction, time.Now())
	got := sensors.Code("")
	if r.Fault != nil {
		got = r.Fault.Code
	}
	if r.Quality != want || got != code {
		t.Errorf("%s is %s %q, want %s %q", name, r.Quality, got, want, code)
	}
	if want != sensors.Good && want != sensors.Suspect && r.Value != 0 {
		t.Errorf("%s is %s and has the value %v", name, r.Quality, r.Value)
	}
	return r
}
