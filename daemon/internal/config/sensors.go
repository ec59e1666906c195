package config

import (
	"fmt"
	"path"
	"regexp"
	"slices"
	"strings"

	"fluewright/analysis/frame"
	"fluewright/daemon/internal/units"

	"github.com/pelletier/go-toml/v2/unstable"
)

// standard is the usual set on a board with two chip selects and one I2C bus.
func standard() []Sensor {
	return []Sensor{
		{Name: "flue", Chip: "max31856", Bus: "/dev/spidev0.0", Channels: []frame.Channel{frame.Flue}, Thermocouple: "K", MainsHz: 60, Averaging: 1},
		{Name: "chamber", Chip: "max31856", Bus: "/dev/spidev0.1", Channels: []frame.Channel{frame.Chamber}, Thermocouple: "K", MainsHz: 60, Averaging: 1},
		{Name: "draft", Chip: "sdp810-125pa", Bus: "/dev/i2c-1", Address: 0x25, Channels: []frame.Channel{frame.Draft}},
		{Name: "ambient", Chip: "bme280", Bus: "/dev/i2c-1", Address: 0x76, Channels: []frame.Channel{frame.Ambient, frame.Room}},
	}
}

// sensors reads the list of chips; without one, the standard set is fitted.
func sensors(root *table) []Sensor {
	list := root.take("sensor")
	if list == nil {
		return standard()
	}
	if list.table() {
		root.at(list.line, "sensor is one table; it is a list, write [[sensor]] in two brackets before each chip")
		return nil
	}
	if list.kind != unstable.ArrayTable && list.kind != unstable.Array {
		root.at(list.line, "sensor is %s; write [[sensor]] before each chip", list.what())
		return nil
	}
	if len(list.items) == 0 {
		root.at(list.line, "sensor is an empty list; without a sensor there is nothing to watch, write [[sensor]] before each chip")
	}
	before := len(root.list)
	var fitted []Sensor
	for _, n := range list.items {
		if !n.table() {
			root.at(n.line, "sensor has %s in it; write [[sensor]] before each chip", n.what())
			continue
		}
		fitted = append(fitted, sensor(newTable(root.problems, "sensor", n)))
	}
	clashes(root.problems, fitted)
	if len(root.list) == before {
		complete(root.problems, fitted)
	}
	return fitted
}

// sensor reads one chip. What is wrong is left empty, and not judged any further.
func sensor(t *table) Sensor {
	s := Sensor{Line: t.line}
	s.Chip = t.required("chip", Chips()).value
	c := chipCalled(s.Chip)
	s.Channels = t.channels(c)
	if len(s.Channels) > 0 {
		s.Name = s.Channels[0].String()
	}
	s.Bus = t.bus(c)
	s.Address = t.address(c)
	s.Mux = t.mux(c)
	t.amplifier(c, &s)
	t.transmitter(c, &s)
	t.done()
	return s
}

// required reads a text that has no default.
func (t *table) required(key string, of []string) given[string] {
	if t.keys.keys[key] == nil {
		t.at(t.line, "%s is missing; %s", t.name(key), oneOf(of))
	}
	return t.choice(key, "", of)
}

// channels reads what the chip is to feed.
func (t *table) channels(c *chip) []frame.Channel {
	n := t.take("channels")
	switch {
	case n == nil:
		t.at(t.line, "%s is missing; it lists what the chip measures, like channels = [\"flue\"]", t.name("channels"))
		return nil
	case n.kind != unstable.Array || len(n.items) == 0:
		t.at(n.line, "%s is %s; it lists what the chip measures, like [\"flue\"]", t.name("channels"), n.what())
		return nil
	}
	var channels []frame.Channel
	for _, item := range n.items {
		ch, ok := frame.Parse(item.text)
		if item.kind != unstable.String || !ok {
			t.at(item.line, "%s has %s in it; a channel is one of %s", t.name("channels"), item.what(), list(frame.All()))
			continue
		}
		if slices.Contains(channels, ch) {
			t.at(item.line, "%s has %v in it twice; once is enough", t.name("channels"), ch)
			continue
		}
		channels = append(channels, ch)
		if c != nil && !slices.Contains(c.channels(), ch) {
			t.at(item.line, "%s: %s cannot measure %v; it can feed %s", t.name("channels"), c.name, ch, list(c.channels()))
		}
	}
	if c == nil {
		return channels
	}
	for _, quantity := range c.feeds {
		same := slices.DeleteFunc(slices.Clone(channels), func(ch frame.Channel) bool { return !slices.Contains(quantity, ch) })
		if len(same) > 1 {
			t.at(n.line, "%s: %s sits at one place and cannot feed %s; keep one of them", t.name("channels"), c.name, list(same))
		}
	}
	return channels
}

// list writes channels as a sentence needs them.
func list(channels []frame.Channel) string {
	names := make([]string, len(channels))
	for i, ch := range channels {
		names[i] = ch.String()
	}
	if len(names) == 1 {
		return names[0]
	}
	return strings.Join(names[:len(names)-1], ", ") + " and " + names[len(names)-1]
}

// benchBus is the name of a bus that lives within the program.
var benchBus = regexp.MustCompile(`^bench-[a-z0-9][a-z0-9.-]*$`)

// bus reads where the chip is wired to.
func (t *table) bus(c *chip) string {
	example := i2c.example()
	if c != nil {
		example = c.bus.example()
	}
	if t.keys.keys["bus"] == nil {
		t.at(t.line, "%s is missing; it is the bus that the chip is wired to, like bus = %q", t.name("bus"), example)
	}
	return t.text("bus", "", func(s string) error {
		device := strings.HasPrefix(s, "/dev/") && path.Clean(s) == s && printable(s)
		if !device && !benchBus.MatchString(s) {
			return fmt.Errorf("%q is no bus; it is a device file like %q, or bench-… for a bench within the program", s, example)
		}
		if c == nil {
			return nil
		}
		if kind, known := kindOf(s); known && kind != c.bus {
			return fmt.Errorf("%q is on %v and %s is on %v; its bus is like %q", s, kind, c.name, c.bus, example)
		}
		return nil
	}).value
}

// kindOf tells the kind of a bus by its usual name; others are tried when opened.
func kindOf(bus string) (kind busKind, known bool) {
	switch {
	case strings.HasPrefix(bus, "/dev/spidev"), strings.HasPrefix(bus, "bench-spi"):
		return spi, true
	case strings.HasPrefix(bus, "/dev/i2c-"), strings.HasPrefix(bus, "bench-i2c"):
		return i2c, true
	default:
		return 0, false
	}
}

// address reads the chip's address on I2C; 0 where there is none or a wrong one.
func (t *table) address(c *chip) uint16 {
	switch {
	case c == nil: // an unknown chip may have one
		t.take("address")
		return 0
	case c.bus == spi:
		t.refuse("address", fmt.Sprintf("%s is on SPI and has none; leave it out", c.name))
		return 0
	default:
		a := t.integer("address", c.addresses[0], c.addresses, "%#02x")
		if !a.ok() {
			return 0
		}
		return uint16(a.value)
	}
}

// muxPlace is a multiplexer's address, of the eight that there are, and a channel.
var muxPlace = regexp.MustCompile(`^0x7([0-7])/([0-7])$`)

// mux reads which channel of which multiplexer the chip is behind.
func (t *table) mux(c *chip) Mux {
	switch {
	case c == nil:
		t.take("mux")
		return Mux{}
	case c.bus == spi:
		t.refuse("mux", fmt.Sprintf("%s is on SPI, where there are none; leave it out", c.name))
		return Mux{}
	}
	place := t.text("mux", "", func(s string) error {
		if !muxPlace.MatchString(s) {
			return fmt.Errorf("%q is no channel of a multiplexer; it is an address from 0x70 to 0x77 and a channel from 0 to 7, like \"0x70/3\"", s)
		}
		return nil
	}).value
	if place == "" {
		return Mux{}
	}
	at := muxPlace.FindStringSubmatch(place)
	return Mux{Address: 0x70 + uint16(at[1][0]-'0'), Channel: int(at[2][0] - '0')}
}

// amplifier reads what only a thermocouple amplifier needs to know. The thermocouple's
// type has no default because the chip cannot tell which is connected, and a wrong one
// gives temperatures that are wrong and plausible.
func (t *table) amplifier(c *chip, s *Sensor) {
	switch {
	case c == nil:
		t.known = append(t.known, "thermocouple", "mains", "averaging")
		return
	case len(c.thermocouples) == 0:
		t.refuse("thermocouple", fmt.Sprintf("%s has no thermocouple; leave it out", c.name))
	default:
		s.Thermocouple = t.required("thermocouple", c.thermocouples).value
	}
	if !c.filters {
		for _, key := range []string{"mains", "averaging"} {
			t.refuse(key, fmt.Sprintf("%s has no such setting; leave it out", c.name))
		}
		return
	}
	mains := quantity(t, "mains", units.ParseFrequency, span{"60 Hz", "50 Hz", "60 Hz"})
	if mains.ok() && mains.value != 50 && mains.value != 60 {
		t.at(mains.line, "%s: %g Hz is no mains; it is \"50 Hz\" or \"60 Hz\"", t.name("mains"), mains.value)
	}
	s.MainsHz = int(mains.value)
	s.Averaging = t.integer("averaging", 1, []int{1, 2, 4, 8, 16}, "%d").value
}

// The two signals of analog transmitters, as they are sold.
const (
	signalVolts   = "0.5-4.5 V"
	signalCurrent = "4-20 mA"
)

// transmitter reads how an analog transmitter is wired to its converter. Its range has no
// default: nothing in the signal tells it.
func (t *table) transmitter(c *chip, s *Sensor) {
	keys := []string{"signal", "range-low", "range-high", "input", "supply-input", "divider", "shunt"}
	switch {
	case c == nil:
		t.known = append(t.known, keys...)
		return
	case !c.converts:
		for _, key := range keys {
			t.refuse(key, fmt.Sprintf("%s has no analog transmitter; leave it out", c.name))
		}
		return
	}
	x := &s.Transmitter
	signal := t.required("signal", []string{signalVolts, signalCurrent})
	x.Current = signal.value == signalCurrent
	// As wide as a transmitter for draft can be of any use.
	low := t.end("range-low", "-25 Pa")
	high := t.end("range-high", "25 Pa")
	if low.ok() && high.ok() && low.line > 0 && high.line > 0 && low.value >= high.value {
		t.at(max(low.line, high.line), "%s is %g Pa and range-high %g Pa; low is below high", t.name("range-low"), low.value, high.value)
	}
	x.Low, x.High = low.value, high.value
	inputs := []int{0, 1, 2, 3}
	input := t.integer("input", 0, inputs, "%d")
	x.Input = input.value
	switch signal.value {
	case signalVolts:
		supply := t.integer("supply-input", 1, inputs, "%d")
		if supply.ok() && input.ok() && supply.value == input.value {
			t.at(max(supply.line, input.line), "%s and supply-input are both %d; the supply is measured on an input of its own", t.name("input"), input.value)
		}
		x.SupplyInput = supply.value
		x.Divider = t.integer("divider", 1, []int{1, 2}, "%d").value
		t.refuse("shunt", "a signal in volts has none; leave it out")
	case signalCurrent:
		shunt := quantity(t, "shunt", units.ParseResistance, span{"", "50 Ohm", "150 Ohm"})
		if shunt.line == 0 {
			t.at(t.line, "%s is missing; it is the resistor that the current flows through, like shunt = \"100 Ohm\"", t.name("shunt"))
		}
		x.Shunt = shunt.value
		t.refuse("supply-input", "a current does not depend on the supply; leave it out")
		t.refuse("divider", "a current has a shunt; leave it out")
	default:
		t.known = append(t.known, "supply-input", "divider", "shunt")
	}
}

// end reads one end of a transmitter's range.
func (t *table) end(key, example string) given[float64] {
	g := quantity(t, key, units.ParsePressure, span{"", "-1000 Pa", "1000 Pa"})
	if g.line == 0 {
		t.at(t.line, "%s is missing; it is what the transmitter is made for, like %s = %q", t.name(key), key, example)
	}
	return g
}

// clashes reports chips that cannot be together. Two at one address answer at once, and
// what is read is neither's; two on a chip select likewise. Whether two names of a bus
// are one device is seen only when they are opened.
func clashes(p *problems, fitted []Sensor) {
	type place struct {
		bus     string
		mux     Mux
		address uint16
	}
	at := map[place]Sensor{}
	fed := map[frame.Channel]Sensor{}
	for _, s := range fitted {
		if c := chipCalled(s.Chip); c != nil && s.Bus != "" && (c.bus == spi || s.Address != 0) {
			here := place{s.Bus, s.Mux, s.Address}
			first, taken := at[here]
			switch {
			case !taken:
				at[here] = s
			case c.bus == spi:
				p.at(s.Line, "two chips on %s, the first is on line %d; each needs its own chip select, like /dev/spidev0.1", s.Bus, first.Line)
			default:
				p.at(s.Line, "two chips at %#02x on %s, the first is on line %d; give one another address or another bus", s.Address, s.Bus, first.Line)
			}
		}
		for _, ch := range s.Channels {
			if first, taken := fed[ch]; taken {
				p.at(s.Line, "%v is fed twice, first on line %d; one sensor a channel", ch, first.Line)
				continue
			}
			fed[ch] = s
		}
	}
	muxClashes(p, fitted)
}

// muxClashes reports what a multiplexer cannot keep apart: while a channel is open, its
// chips and those on the bus itself answer at once, and so does the multiplexer.
func muxClashes(p *problems, fitted []Sensor) {
	for _, m := range fitted {
		if m.Mux.Address == 0 || m.Bus == "" {
			continue
		}
		if m.Address == m.Mux.Address {
			p.at(m.Line, "the chip and its multiplexer are both at %#02x; give one another address", m.Address)
		}
		for _, s := range fitted {
			switch {
			case s.Bus != m.Bus || s.Mux.Address != 0 || s.Address == 0:
			case s.Address == m.Mux.Address:
				p.at(s.Line, "a chip at %#02x on %s, where the multiplexer of line %d is; give one another address", s.Address, s.Bus, m.Line)
			case s.Address == m.Address:
				p.at(s.Line, "a chip at %#02x on %s, and one behind a multiplexer on line %d; they would answer at once, put both behind it", s.Address, s.Bus, m.Line)
			}
		}
	}
}

// complete reports what is missing among sensors that are right by themselves. The
// analysis judges no draft without the flue, and would be silent about it.
func complete(p *problems, fitted []Sensor) {
	feeding := func(ch frame.Channel) int {
		return slices.IndexFunc(fitted, func(s Sensor) bool { return slices.Contains(s.Channels, ch) })
	}
	if i := feeding(frame.Draft); i >= 0 && feeding(frame.Flue) < 0 {
		p.at(fitted[i].Line, "draft is measured and flue is not; whether a draft is wrong depends on the fire, which the flue tells: fit a sensor that feeds flue")
	}
}
