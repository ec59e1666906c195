package scan

import (
	"context"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"

	"github.com/google/go-cmp/cmp"

	"fluewright/sensors"
	"fluewright/sensors/path"
)

// values makes a chip measure them one after another, and then the last for ever.
func (f *fake) values(all ...float64) {
	f.sense = func() (sensors.Sample, error) {
		v := all[0]
		if len(all) > 1 {
			all = all[1:]
		}
		return celsius(v), nil
	}
}

func (f *fake) probe() Slot {
	s := f.slot("flue")
	s.Path.Probe = &path.Probe{Noise: 0.05}
	return s
}

// A spike costs a look, and is no fault; what was measured before it ages meanwhile.
func TestSpikeIsWithheld(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		f := newFake("chip")
		f.values(300, 1300, 301)
		began := time.Now()
		b := run(t, nil, f.probe())
		pass(time.Second)
		r := check(t, b, "flue", sensors.Good, "")
		if r.Value != 300 || !r.Taken.Equal(began) {
			t.Errorf("%v of %v, want what was measured before the spike", r.Value, r.Taken.Sub(began))
		}
		s, _ := b.Status("flue")
		if !s.Up || s.Samples != 1 || s.Path.Spikes != 1 {
			t.Errorf("status %+v", s)
		}
		pass(time.Second)
		if r := check(t, b, "flue", sensors.Good, ""); r.Value != 301 {
			t.Errorf("value %v after the spike", r.Value)
		}
	})
}

// A chip that repeats itself is at fault, and is set up anew until it measures again.
func TestFrozenChip(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		f := newFake("chip")
		var thawed atomic.Bool
		f.sense = func() (sensors.Sample, error) {
			if thawed.Load() {
				return celsius(float64(len(f.looks()))), nil
			}
			return celsius(20), nil
		}
		slot := f.slot("flue")
		slot.Path.FrozenAfter = 30 * time.Second
		b := run(t, nil, slot)
		pass(58 * time.Second)
		check(t, b, "flue", sensors.Good, "")
		pass(time.Second)
		r := check(t, b, "flue", sensors.Faulty, sensors.Frozen)
		if r.Fault == nil || r.Fault.Device != "chip" {
			t.Errorf("fault %v", r.Fault)
		}
		pass(30 * time.Second)
		check(t, b, "flue", sensors.Faulty, sensors.Frozen)
		// It is set up at once, and then as often as any chip that does not start.
		if diff := cmp.Diff([]int{0, 59, 60, 62, 67, 77, 87}, seconds(f.starts())); diff != "" {
			t.Errorf("starts at (-want +got):\n%s", diff)
		}
		thawed.Store(true)
		pass(10 * time.Second)
		check(t, b, "flue", sensors.Good, "")
	})
}

// The reading is not later for a burst: the median of three looks in a second is of the
// last second.
func TestBurstOfLooks(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		f := newFake("chip")
		b := NewBoard()
		l, err := New(b, Config{Name: "test", Period: 900 * time.Millisecond, Burst: 3, Slots: []Slot{f.slot("flue")}})
		if err != nil {
			t.Fatal(err)
		}
		f.values(20, 20, 90, 21, 22, 22)
		ctx, cancel := context.WithCancel(t.Context())
		done := make(chan error)
		go func() { done <- l.Run(ctx) }()
		defer func() { cancel(); <-done }()
		var got []float64
		for range 6 {
			pass(300 * time.Millisecond)
			r := check(t, b, "flue", sensors.Good, "")
			got = append(got, r.Value)
			if age := time.Since(r.Taken); age > 1200*time.Millisecond {
				t.Errorf("the reading is %v old", age)
			}
		}
		if len(f.looks()) != 7 {
			t.Errorf("%d looks in two periods", len(f.looks()))
		}
		if diff := cmp.Diff([]float64{20, 20, 21, 22, 22, 22}, got); diff != "" {
			t.Errorf("readings (-want +got):\n%s", diff)
		}
	})
}

// specimen is a chip with a serial number.
type specimen struct {
	*fake
	serial *atomic.Value
}

func (s specimen) Serial() string { return s.serial.Load().(string) }

func TestChangedSerialIsReported(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		f := newFake("chip")
		var serial atomic.Value
		serial.Store("0001")
		slot := f.slot("draft")
		slot.Open = func(context.Context) (sensors.Sensor, error) {
			return WithPort(specimen{f, &serial}, f), nil
		}
		f.outcomes(nil, nil, fault(sensors.NoAnswer), nil)
		b := run(t, nil, slot)
		if s, _ := b.Status("draft"); s.Serial != "0001" || s.Former != "" {
			t.Errorf("first: %q, before %q", s.Serial, s.Former)
		}
		serial.Store("0002")
		pass(3 * time.Second)
		if s, _ := b.Status("draft"); s.Serial != "0002" || s.Former != "0001" {
			t.Errorf("exchanged: %q, before %q", s.Serial, s.Former)
		}
	})
}

// A chip whose transfers take a second each holds up its own bus, and no other.
func TestSlowBusDelaysNoOther(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		slow, quick := newFake("slow"), newFake("quick")
		slow.sense = func() (sensors.Sample, error) {
			time.Sleep(time.Second)
			return sensors.Sample{}, fault(sensors.BusDown)
		}
		b := NewBoard()
		ctx, cancel := context.WithCancel(t.Context())
		done := make(chan error)
		for _, f := range []*fake{slow, quick} {
			l, err := New(b, Config{Name: f.name, Period: 500 * time.Millisecond, Bus: &closer{}, Slots: []Slot{f.slot(f.name)}})
			if err != nil {
				t.Fatal(err)
			}
			go func() { done <- l.Run(ctx) }()
		}
		pass(20*time.Second + 250*time.Millisecond)
		check(t, b, "slow", sensors.Faulty, sensors.BusDown)
		for i, at := range quick.looks() {
			if want := time.Duration(i) * 500 * time.Millisecond; at != want {
				t.Fatalf("look %d at %v, want %v", i, at, want)
			}
		}
		if len(quick.looks()) != 41 {
			t.Errorf("%d looks, want 41", len(quick.looks()))
		}
		cancel()
		<-done
		<-done
	})
}
