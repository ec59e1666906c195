package chunk

import (
	"encoding/binary"
	"hash/crc32"
)

// Seal gives any bytes a format and a checksum that are right.
func Seal(b []byte) []byte {
	if len(b) == 0 {
		b = []byte{0}
	}
	s := append([]byte{format}, b[1:]...)
	return binary.LittleEndian.AppendUint32(s, crc32.Checksum(s, castagnoli))
}
