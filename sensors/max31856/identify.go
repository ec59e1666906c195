package max31856

import (
	"bytes"
	"context"
	"fmt"
	"slices"

	"periph.io/x/conn/v3/spi"

	"fluewright/sensors"
	"fluewright/sensors/bus"
	"fluewright/sensors/thermocouple"
)

// Identify recognises the chip on a port that nobody has connected yet; nil means that it
// is another, or none. The chip has no identity, but a shape: sixteen registers, behind
// them addresses that read FFh (p. 15), and a read from the middle that gives the same as
// one from the start.
//
// It sends zeros and read addresses only: for this chip they are reads, and a chip that
// takes no data, such as the MAX31855, does not see them. What a chip that is none of the
// supported ones makes of a zero on SPI nobody can know.
func Identify(_ context.Context, p spi.Port, clock sensors.Clock) (*sensors.Found, error) {
	o := DefaultOpts
	o.Clock = clock
	d, err := New(p, &o)
	if err != nil {
		return nil, err
	}
	all, err := d.readFrom(regCR0, 2*registers)
	if err != nil {
		return nil, err
	}
	regs, beyond := all[:registers], all[registers:]
	none := slices.ContainsFunc(beyond, func(b byte) bool { return b != 0xFF })
	if none || stuck(regs) != "" || regs[regCR1]&0x80 != 0 {
		return nil, nil
	}
	// From the mask to the offset: what only a master changes.
	settings := regs[regMask : regCJTO+1]
	again, err := d.readFrom(regMask, len(settings))
	if err != nil {
		return nil, err
	}
	same := bytes.Count(settings, settings[:1]) == len(settings) // proves nothing
	if same || !bytes.Equal(settings, again) {
		return nil, nil
	}
	return d.recognised(regs)
}

// recognised says how the chip is set, and how to look at it.
func (d *Dev) recognised(regs []byte) (*sensors.Found, error) {
	f := &sensors.Found{Chip: "max31856"}
	i := slices.IndexFunc(thermocouple.Types(), func(t thermocouple.Type) bool { return types[t].code == regs[regCR1]&0x0F })
	if i < 0 {
		f.Detail, f.Measuring = "set to measure a voltage", true
		return f, nil
	}
	o := d.opts
	o.Type = thermocouple.Types()[i]
	with, err := prepare(d.name, &o)
	if err != nil {
		return nil, err
	}
	with.conn = d.conn
	f.Detail, f.Sensor = fmt.Sprintf("set to type %v", o.Type), with
	if regs[regCR0]&(cr0Auto|cr0OneShot) != 0 {
		f.Measuring, f.Sensor = true, &onlooker{with}
	}
	return f, nil
}

// readFrom returns n registers from reg on.
func (d *Dev) readFrom(reg byte, n int) ([]byte, error) {
	w, r := make([]byte, 1+n), make([]byte, 1+n)
	w[0] = reg
	if err := d.conn.Tx(w, r); err != nil {
		return nil, bus.Fault(d.String(), "read registers", err)
	}
	return r[1:], nil
}

// onlooker reads what the chip measures for another program, and writes nothing.
type onlooker struct{ d *Dev }

func (o *onlooker) String() string              { return o.d.String() }
func (o *onlooker) Start(context.Context) error { return nil }
func (o *onlooker) Halt() error                 { return nil }

func (o *onlooker) Sense(context.Context) (sensors.Sample, error) {
	regs, err := o.d.read()
	if err != nil {
		return sensors.Sample{}, err
	}
	s, err := o.d.sample(regs)
	if err != nil {
		return sensors.Sample{}, o.d.fault(err)
	}
	return s, nil
}
