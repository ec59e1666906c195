//go:build amd64 || arm64 || riscv64

package devfs

import (
	"context"
	"encoding/binary"
	"sync"
	"syscall"

	"github.com/hanwen/go-fuse/v2/fs"
	"periph.io/x/conn/v3/spi"

	"fluewright/sensors/bench"
)

// linux/spi/spidev.h. The size in an ioctl's number is masked out of spiMessage.
const (
	spiMessage     = 0x40006B00
	spiWrMode      = 0x40016B01
	spiWrLSBFirst  = 0x40016B02
	spiWrBits      = 0x40016B03
	spiWrMaxSpeed  = 0x40046B04
	spiWrMode32    = 0x40046B05
	spiRdMode      = 0x80016B01
	spiRdLSBFirst  = 0x80016B02
	spiRdBits      = 0x80016B03
	spiRdMaxSpeed  = 0x80046B04
	spiRdMode32    = 0x80046B05
	spiSizeMask    = 0x3FFF0000
	spiTransfer    = 32   // bytes of struct spi_ioc_transfer
	spiBufferBytes = 4096 // spidev's bufsiz
)

// spiFile is /dev/spidevB.C. Mode, word size and speed belong to the device, not to one
// opening of it.
type spiFile struct {
	fs.Inode
	device
	at *bench.Select

	mu    sync.Mutex
	mode  uint32
	speed uint32
}

// Ioctl answers what spidev does.
func (f *spiFile) Ioctl(ctx context.Context, _ fs.FileHandle, cmd uint32, _ uint64, in, out []byte) (int32, syscall.Errno) {
	f.mu.Lock()
	defer f.mu.Unlock()
	switch cmd {
	case spiWrMode:
		return 0, f.setMode(uint32(in[0]))
	case spiWrMode32:
		return 0, f.setMode(binary.LittleEndian.Uint32(in))
	case spiWrMaxSpeed:
		f.speed = binary.LittleEndian.Uint32(in)
		return 0, 0
	case spiWrBits:
		if in[0] != 8 && in[0] != 0 {
			return 0, syscall.EINVAL
		}
		return 0, 0
	case spiWrLSBFirst:
		if in[0] != 0 {
			return 0, syscall.EINVAL
		}
		return 0, 0
	case spiRdMode:
		out[0] = byte(f.mode)
	case spiRdMode32:
		binary.LittleEndian.PutUint32(out, f.mode)
	case spiRdMaxSpeed:
		binary.LittleEndian.PutUint32(out, f.speed)
	case spiRdBits:
		out[0] = 8
	case spiRdLSBFirst:
		out[0] = 0
	default:
		if cmd&^spiSizeMask != spiMessage || len(in) == 0 || len(in)%spiTransfer != 0 {
			return 0, syscall.ENOTTY
		}
		return f.message(ctx, in)
	}
	return 0, 0
}

// setMode accepts the four modes and nothing that the wiring does not have.
func (f *spiFile) setMode(mode uint32) syscall.Errno {
	if mode&^uint32(spi.Mode3) != 0 {
		return syscall.EINVAL
	}
	f.mode = mode
	return 0
}

// message carries out SPI_IOC_MESSAGE(n). The transfers share one assertion of the chip
// select unless one of them asks for a change after it.
func (f *spiFile) message(ctx context.Context, in []byte) (int32, syscall.Errno) {
	c, errno := callerOf(ctx)
	if errno != 0 {
		return 0, errno
	}
	type part struct {
		rx     uint64
		length int
	}
	// w and parts gather what one assertion of the chip select covers.
	var w []byte
	var parts []part
	total := 0
	for ; len(in) > 0; in = in[spiTransfer:] {
		tx, rx := binary.LittleEndian.Uint64(in), binary.LittleEndian.Uint64(in[8:])
		length, change := binary.LittleEndian.Uint32(in[16:]), in[27] != 0
		if length > spiBufferBytes || total+int(length) > spiBufferBytes {
			return 0, syscall.EMSGSIZE
		}
		total += int(length)
		data := make([]byte, length) // zeros go out where nothing is to be sent
		if tx != 0 {
			if errno := c.read(tx, data); errno != 0 {
				return 0, errno
			}
		}
		w, parts = append(w, data...), append(parts, part{rx, int(length)})
		if len(in) > spiTransfer && !change {
			continue
		}
		r := make([]byte, len(w))
		if len(w) > 0 {
			if errno := errnoOf(f.at.Transfer(spi.Mode(f.mode), w, r)); errno != 0 {
				return 0, errno
			}
		}
		for _, p := range parts {
			if p.rx != 0 {
				if errno := c.write(p.rx, r[:p.length]); errno != 0 {
					return 0, errno
				}
			}
			r = r[p.length:]
		}
		w, parts = nil, nil
	}
	return int32(total), 0
}
