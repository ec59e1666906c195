package chunk

import (
	"encoding/binary"
	"hash/crc32"
)

// Seal gives any bytes a format and a checksum that are right. An odd first byte makes the
// plain format.
func Seal(b []byte) []byte {
	if len(b) == 0 {
		b = []byte{0}
	}
	f := byte(format)
	if b[0]&1 != 0 {
		f = formatPlain
	}
	s := append([]byte{f}, b[1:]...)
	return binary.LittleEndian.AppendUint32(s, crc32.Checksum(s, castagnoli))
}
