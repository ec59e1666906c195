package bench

import (
	"fmt"
	"math/bits"
	"strings"
	"sync/atomic"
)

// Fault is a way in which a chip, its wiring or its bus can be made to fail; several
// may be set at once.
type Fault uint32

// The faults.
const (
	NACK            Fault = 1 << iota // the chip does not acknowledge its address
	Timeout                           // the transfer hangs, then fails
	BadCRC                            // checksums are wrong
	Stuck00                           // the data line stays low
	StuckFF                           // the data line stays high
	BrownOut                          // one event: the supply dips, registers go to their power-on values
	Open                              // the thermocouple's or the transmitter's wire is off
	OverVoltage                       // a thermocouple input above the supply or below ground
	OutOfRange                        // what is measured lies beyond the range
	Frozen                            // the chip answers with its last value for ever
	WrongPart                         // another part sits at the place
	ColdJunctionHot                   // the amplifier's terminals are at 95 °C
	ShortGround                       // the thermocouple touches ground
	ShortSupply                       // the thermocouple, or a transmitter's signal, touches the supply
	Stretch                           // the master does not wait: some reads repeat the bytes sent before
	SupplyLow                         // a transmitter's supply is too low
)

// faultNames are the words of the control line, in the order of the bits.
var faultNames = [...]string{
	"nack", "timeout", "crc", "stuck-00", "stuck-ff", "brown-out", "open", "over-voltage",
	"out-of-range", "frozen", "wrong-part", "cold-junction-hot", "short-ground", "short-supply",
	"stretch", "supply-low",
}

// ParseFault returns the fault of that name.
func ParseFault(name string) (Fault, error) {
	for i, n := range faultNames {
		if n == name {
			return 1 << i, nil
		}
	}
	return 0, fmt.Errorf("unknown fault %q: one of %s", name, strings.Join(faultNames[:], ", "))
}

// Names returns the names of the faults that are set.
func (f Fault) Names() []string {
	names := []string{}
	for ; f != 0; f &= f - 1 {
		if i := bits.TrailingZeros32(uint32(f)); i < len(faultNames) {
			names = append(names, faultNames[i])
		}
	}
	return names
}

// String joins the names.
func (f Fault) String() string { return strings.Join(f.Names(), "+") }

// breakable is what every chip and bus shares: the faults that are set on it. It takes
// no lock, so that a fault can be set while a transfer hangs.
type breakable struct {
	kind   string
	can    Fault
	faults atomic.Uint32
}

// Inject sets a fault until Clear; BrownOut happens once, at the next transfer. A fault
// that this chip cannot have is an error.
func (b *breakable) Inject(f Fault) error {
	if f&^b.can != 0 {
		return fmt.Errorf("%s cannot have the fault %s: one of %s", b.kind, f&^b.can, strings.Join(b.can.Names(), ", "))
	}
	b.faults.Or(uint32(f))
	return nil
}

// Clear takes all faults away. What a brown-out did to the registers stays.
func (b *breakable) Clear() { b.faults.And(uint32(BrownOut)) }

// Faults returns the faults that are set.
func (b *breakable) Faults() Fault { return Fault(b.faults.Load()) }

func (b *breakable) has(f Fault) bool { return b.Faults()&f != 0 }

// dipped reports a brown-out that has not been served yet, once.
func (b *breakable) dipped() bool {
	return b.faults.And(^uint32(BrownOut))&uint32(BrownOut) != 0
}

// Chip is a part on a bus. Tx is one I2C transaction at its address (write w, then read
// r) or one chip-select assertion on SPI (w and r equally long, at the same time).
type Chip interface {
	Tx(w, r []byte) error
	Inject(Fault) error
	Clear()
	Faults() Fault
}
