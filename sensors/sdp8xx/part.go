package sdp8xx

import (
	"fmt"
	"slices"
)

// Part is a member of the family, by its name in the configuration.
type Part string

// The parts. 800 and 801 have manifold ports, 810 and 811 tube ports; 801 and 811 have
// another address, so that two may share a bus.
const (
	SDP800P125 Part = "sdp800-125pa"
	SDP800P500 Part = "sdp800-500pa"
	SDP801P500 Part = "sdp801-500pa"
	SDP810P125 Part = "sdp810-125pa"
	SDP810P500 Part = "sdp810-500pa"
	SDP811P500 Part = "sdp811-500pa"
	SDP31P500  Part = "sdp31-500pa"
	SDP32P125  Part = "sdp32-125pa"
	SDP33P1500 Part = "sdp33-1500pa"
)

// family3 is the upper half of the product numbers of the SDP3x.
const family3 = 0x0301

type partInfo struct {
	product   uint32 // the upper 24 bits of the product number; the rest is the revision. 0: not published
	address   uint16 // the usual one
	scale     int16  // counts per pascal
	fullScale float64
}

// Product numbers: the public header and the tests of the public Rust crate sdp8xx; SDP31 and
// SDP32 from a public driver. Scales: 240 and 60 as Sensirion's drivers document them; 20
// of the SDP33 as the public autopilot drivers of PX4 and ArduPilot have it, and every
// frame has to confirm it.
var parts = map[Part]partInfo{
	SDP800P500: {0x030201, 0x25, 60, 500},
	SDP810P500: {0x03020A, 0x25, 60, 500},
	SDP801P500: {0x030204, 0x26, 60, 500},
	SDP811P500: {0x03020D, 0x26, 60, 500},
	SDP800P125: {0x030202, 0x25, 240, 125},
	SDP810P125: {0x03020B, 0x25, 240, 125},
	SDP31P500:  {0x030101, 0x21, 60, 500},
	SDP32P125:  {0x030102, 0x21, 240, 125},
	SDP33P1500: {0, 0x21, 20, 1500},
}

// Parts lists the supported parts, sorted.
func Parts() []Part {
	all := make([]Part, 0, len(parts))
	for p := range parts {
		all = append(all, p)
	}
	slices.Sort(all)
	return all
}

// Address returns the part's usual I2C address, 0 for an unknown part.
func (p Part) Address() uint16 { return parts[p].address }

// FullScale returns the largest pressure that the part measures, Pa.
func (p Part) FullScale() float64 { return parts[p].fullScale }

// Identity is what a chip says of itself.
type Identity struct {
	Product uint32
	Serial  uint64
}

// Part returns the part that the product number means, if it is a supported one.
func (i Identity) Part() (Part, bool) {
	for name, p := range parts {
		if p.product != 0 && p.product == i.Product>>8 {
			return name, true
		}
	}
	return "", false
}

// mayBe reports whether what answered can be the part. One whose product number was not
// published is any of its family that has no other name; the scale in each frame tells.
func (i Identity) mayBe(p partInfo) bool {
	if p.product != 0 {
		return p.product == i.Product>>8
	}
	_, known := i.Part()
	return !known && i.Product>>16 == family3
}

// String returns the part's name, or its number, with revision and serial number.
func (i Identity) String() string {
	name := fmt.Sprintf("product 0x%06x", i.Product>>8)
	if p, ok := i.Part(); ok {
		name = string(p)
	}
	return fmt.Sprintf("%s revision %d serial %016x", name, byte(i.Product), i.Serial)
}
