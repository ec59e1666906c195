package traffic

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"
	"sync"

	"periph.io/x/conn/v3"
	"periph.io/x/conn/v3/i2c"
	"periph.io/x/conn/v3/physic"
	"periph.io/x/conn/v3/spi"

	"fluewright/sensors"
	"fluewright/sensors/bus"
)

// ErrDiffers is returned for a transfer that is not the next one of the file.
var ErrDiffers = errors.New("differs from the record")

// Playback gives recorded transfers back.
type Playback struct {
	mu    sync.Mutex
	buses map[string][]transfer // what is left, by bus
}

// Read reads a file of traffic; an error names the line.
func Read(r io.Reader) (*Playback, error) {
	p := &Playback{buses: map[string][]transfer{}}
	lines := bufio.NewScanner(r)
	n := 0
	for first := true; lines.Scan(); first = false {
		n++
		line := strings.TrimSpace(lines.Text())
		if first {
			if line != header {
				return nil, fmt.Errorf("line 1: %q is not %q", line, header)
			}
			continue
		}
		if line == "" || strings.HasPrefix(line, "#") {
			continue
		}
		t, err := parse(line)
		if err != nil {
			return nil, fmt.Errorf("line %d: %w", n, err)
		}
		if known := p.buses[t.bus]; len(known) > 0 && known[0].spi != t.spi {
			return nil, fmt.Errorf("line %d: %s is I2C and SPI", n, t.bus)
		}
		p.buses[t.bus] = append(p.buses[t.bus], t)
	}
	if err := lines.Err(); err != nil {
		return nil, fmt.Errorf("read bus traffic: %w", err)
	}
	if n == 0 {
		return nil, fmt.Errorf("read bus traffic: empty, want %q", header)
	}
	return p, nil
}

// Adapters lists the buses of the file.
func (p *Playback) Adapters() []bus.Adapter {
	p.mu.Lock()
	defer p.mu.Unlock()
	var all []bus.Adapter
	for name, t := range p.buses {
		all = append(all, bus.Adapter{Device: name, SPI: len(t) > 0 && t[0].spi})
	}
	slices.SortFunc(all, func(a, b bus.Adapter) int { return strings.Compare(a.Device, b.Device) })
	return all
}

// Rest lists the transfers that nobody has asked for yet.
func (p *Playback) Rest() []string {
	p.mu.Lock()
	defer p.mu.Unlock()
	var rest []string
	for _, transfers := range p.buses {
		for _, t := range transfers {
			rest = append(rest, t.String())
		}
	}
	slices.Sort(rest)
	return rest
}

// Opener opens the buses of the file; the fault for any other is [sensors.DeviceMissing].
func (p *Playback) Opener() bus.Opener {
	known := func(name string) error {
		p.mu.Lock()
		defer p.mu.Unlock()
		if _, ok := p.buses[name]; !ok {
			return &sensors.Fault{Code: sensors.DeviceMissing, Device: name, Detail: "not in the record"}
		}
		return nil
	}
	return bus.Opener{
		I2C: func(name string) (i2c.BusCloser, error) {
			if err := known(name); err != nil {
				return nil, err
			}
			return playedI2C{p, name}, nil
		},
		SPI: func(name string) (spi.PortCloser, error) {
			if err := known(name); err != nil {
				return nil, err
			}
			return &playedPort{p: p, name: name}, nil
		},
	}
}

// play answers one transfer.
func (p *Playback) play(asked transfer) error {
	p.mu.Lock()
	defer p.mu.Unlock()
	left := p.buses[asked.bus]
	if len(left) == 0 {
		return fmt.Errorf("%q after the end: %w", asked.question(), ErrDiffers)
	}
	next := left[0]
	if next.question() != asked.question() {
		return fmt.Errorf("%q instead of %q: %w", asked.question(), next.question(), ErrDiffers)
	}
	p.buses[asked.bus] = left[1:]
	if next.err != nil {
		return next.err
	}
	copy(asked.r, next.r)
	return nil
}

type playedI2C struct {
	p    *Playback
	name string
}

func (b playedI2C) String() string                  { return b.name }
func (b playedI2C) SetSpeed(physic.Frequency) error { return errors.ErrUnsupported }
func (b playedI2C) Close() error                    { return nil }

func (b playedI2C) Tx(addr uint16, w, r []byte) error {
	return b.p.play(transfer{bus: b.name, to: addr, w: part(w), r: part(r)})
}

type playedPort struct {
	p    *Playback
	name string
	mode spi.Mode
}

func (c *playedPort) String() string                    { return c.name }
func (c *playedPort) LimitSpeed(physic.Frequency) error { return nil }
func (c *playedPort) Close() error                      { return nil }
func (c *playedPort) Duplex() conn.Duplex               { return conn.Full }

func (c *playedPort) Connect(_ physic.Frequency, mode spi.Mode, _ int) (spi.Conn, error) {
	c.mode = mode
	return c, nil
}

func (c *playedPort) Tx(w, r []byte) error {
	return c.p.play(transfer{spi: true, bus: c.name, to: uint16(c.mode & spi.Mode3), w: part(w), r: part(r)})
}

func (c *playedPort) TxPackets([]spi.Packet) error { return errors.ErrUnsupported }
