package bench

import (
	"errors"
	"fmt"
	"math/rand/v2"
	"slices"
	"sync"
	"time"

	"periph.io/x/conn/v3/i2c/i2creg"
	"periph.io/x/conn/v3/spi/spireg"

	"fluewright/sensors"
	"fluewright/sensors/bench/furnace"
)

// Config says how a bench is set up. The zero value is the default furnace in real
// time, cold, with nothing scheduled.
type Config struct {
	Furnace  furnace.Config
	Seed     uint64        // of gusts, rumble and the chips' noise
	Clock    sensors.Clock // the computer's time when nil
	Scenario Scenario
	Quiet    bool // chips without noise, for exact checks
	// Every adds chips to the standard ones until there is one of each kind: see
	// fitEvery.
	Every bool
}

// Where the standard chips sit. The names of buses are those of the device files that
// package devfs shows; in periph's registries they have "bench-" before them, and SPI
// is "bench-spi-0.0".
const (
	DraftAddr   = 0x25 // SDP810-125Pa on i2c-1, channel draft
	AmbientAddr = 0x76 // BME280 on i2c-1, channels ambient, room and humidity
)

// Thermocouple amplifiers, MAX31856 type K, by chip select.
var thermocouples = [...]struct{ channel, device string }{
	{"flue", "spidev0.0"},
	{"chamber", "spidev0.1"},
	{"plenum", "spidev1.0"},
}

// channels are what chips measure and a pin can hold, with the furnace's value.
var channels = map[string]func(*furnace.State) float64{
	"flue":     func(s *furnace.State) float64 { return s.Probe.Flue },
	"chamber":  func(s *furnace.State) float64 { return s.Probe.Chamber },
	"plenum":   func(s *furnace.State) float64 { return s.Probe.Plenum },
	"firebox":  func(s *furnace.State) float64 { return s.Probe.Firebox },
	"return":   func(s *furnace.State) float64 { return s.Probe.Return },
	"outdoor":  func(s *furnace.State) float64 { return s.Probe.Outdoor },
	"room":     func(s *furnace.State) float64 { return s.Probe.Room },
	"draft":    func(s *furnace.State) float64 { return s.Draft },
	"ambient":  func(s *furnace.State) float64 { return s.Ambient },
	"humidity": func(*furnace.State) float64 { return 0.42 },
}

// Bench is a furnace with the standard set of chips. The furnace moves whenever a chip
// or Truth looks at it, so a bench needs no goroutine of its own.
type Bench struct {
	clock  sensors.Clock
	buses  map[string]*Bus
	spi    map[string]*Select
	broken map[string]*breakable // what the control line can break, by name

	mu      sync.Mutex
	furnace *furnace.Furnace
	state   furnace.State // as the last reader found it
	start   time.Time
	elapsed time.Duration
	pins    map[string]float64
	script  script

	registered []func() error // undo Register
}

// New returns a bench. It fails only on a scenario that it cannot play.
func New(cfg Config) (*Bench, error) {
	if cfg.Clock == nil {
		cfg.Clock = sensors.SystemClock{}
	}
	b := &Bench{
		clock:   cfg.Clock,
		buses:   map[string]*Bus{"i2c-1": NewBus(cfg.Clock, "i2c-1")},
		spi:     map[string]*Select{},
		furnace: furnace.New(cfg.Furnace, cfg.Seed),
		start:   cfg.Clock.Now(),
		pins:    map[string]float64{},
	}
	bus := b.buses["i2c-1"]
	b.broken = map[string]*breakable{"i2c-1": &bus.breakable}

	noise := func(x float64) float64 {
		if cfg.Quiet {
			return 0
		}
		return x
	}
	// The amplifiers sit in a box at the furnace, a little warmer than the room.
	terminals := func() float64 { return b.value("room") + 3 }
	for i, t := range thermocouples {
		chip := NewMAX31856(b.clock, b.reader(t.channel), terminals)
		chip.Noise, chip.rng = noise(0.05), rand.New(rand.NewPCG(cfg.Seed, uint64(i)))
		b.spi[t.device] = NewSelect(b.clock, t.device, chip)
		b.broken[t.channel] = &chip.breakable
	}
	draft := NewSDP8xx(b.clock, b.reader("draft"), b.reader("ambient"), b.reader("room"))
	draft.Noise, draft.rng = noise(0.08), rand.New(rand.NewPCG(cfg.Seed, 25))
	bus.Attach(DraftAddr, draft)
	b.broken["draft"] = &draft.breakable
	ambient := NewBME280(b.clock, b.reader("room"), b.reader("ambient"), b.reader("humidity"))
	ambient.Noise = noise(0.5)
	bus.Attach(AmbientAddr, ambient)
	b.broken["ambient"] = &ambient.breakable
	if cfg.Every {
		b.fitEvery(cfg.Seed, noise)
	}

	var err error
	if b.script, err = b.compile(cfg.Scenario); err != nil {
		return nil, fmt.Errorf("compile scenario: %w", err)
	}
	return b, nil
}

// reader returns what a chip of the channel is connected to.
func (b *Bench) reader(channel string) func() float64 {
	return func() float64 { return b.value(channel) }
}

// value is the channel's physical value now: the pinned one, or the furnace's.
func (b *Bench) value(channel string) float64 {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.catchUp()
	if v, ok := b.pins[channel]; ok {
		return v
	}
	b.state = b.furnace.State()
	return channels[channel](&b.state)
}

// catchUp advances the furnace to the clock's time, doing on the way what is scheduled.
func (b *Bench) catchUp() {
	now := b.clock.Now().Sub(b.start)
	for {
		at, do := b.script.next()
		if do == nil || at > now {
			break
		}
		b.advance(at)
		do()
		b.script.done()
	}
	b.advance(now)
}

func (b *Bench) advance(to time.Duration) {
	if to > b.elapsed {
		b.furnace.Advance(to - b.elapsed)
		b.elapsed = to
	}
}

// Devices returns buses and chip selects by the names of their device files.
func (b *Bench) Devices() (buses map[string]*Bus, selects map[string]*Select) {
	return b.buses, b.spi
}

// Register puts the buses into periph's registries as bench-i2c-1, bench-spi-0.0 and so
// on, until Close. One bench at a time can be registered.
func (b *Bench) Register() error {
	for device, bus := range b.buses {
		name := "bench-" + device
		if err := i2creg.Register(name, nil, -1, bus.Open); err != nil {
			return errors.Join(fmt.Errorf("register bench: %w", err), b.Close())
		}
		b.registered = append(b.registered, func() error { return i2creg.Unregister(name) })
	}
	for device, s := range b.spi {
		name := "bench-spi-" + device[len("spidev"):]
		if err := spireg.Register(name, nil, -1, s.Open); err != nil {
			return errors.Join(fmt.Errorf("register bench: %w", err), b.Close())
		}
		b.registered = append(b.registered, func() error { return spireg.Unregister(name) })
	}
	return nil
}

// Close takes the buses out of the registries.
func (b *Bench) Close() error {
	var errs []error
	for _, undo := range b.registered {
		errs = append(errs, undo())
	}
	b.registered = nil
	return errors.Join(errs...)
}

// Truth is what is really the case, beside what the chips may say.
type Truth struct {
	Time     time.Time           `json:"time"` // the bench's clock
	Furnace  furnace.State       `json:"furnace"`
	Channels map[string]float64  `json:"channels"` // what each chip is given, pins included
	Pinned   []string            `json:"pinned"`
	Faults   map[string][]string `json:"faults"`
}

// Truth returns what is the case now.
func (b *Bench) Truth() Truth {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.catchUp()
	return b.truth()
}

func (b *Bench) truth() Truth {
	t := Truth{
		Time:     b.start.Add(b.elapsed),
		Furnace:  b.furnace.State(),
		Channels: map[string]float64{},
		Pinned:   []string{},
		Faults:   map[string][]string{},
	}
	for c, of := range channels {
		t.Channels[c] = of(&t.Furnace)
		if v, ok := b.pins[c]; ok {
			t.Channels[c] = v
			t.Pinned = append(t.Pinned, c)
		}
	}
	slices.Sort(t.Pinned)
	for name, x := range b.broken {
		if f := x.Faults(); f != 0 {
			t.Faults[name] = f.Names()
		}
	}
	return t
}
