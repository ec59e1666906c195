//go:build amd64 || arm64 || riscv64

package devfs

import (
	"context"
	"encoding/binary"
	"syscall"

	"github.com/hanwen/go-fuse/v2/fs"

	"fluewright/sensors/bench"
)

// linux/i2c-dev.h and linux/i2c.h.
const (
	i2cRetries = 0x701
	i2cTimeout = 0x702
	i2cFuncs   = 0x705
	i2cRdwr    = 0x707

	i2cFunctions   = 0x0EFF0009 // I2C and emulated SMBus
	i2cMessageSize = 16
	i2cMaxMessages = 42
	i2cMaxLength   = 8192
	i2cRead        = 0x0001
)

// i2cFile is /dev/i2c-N.
type i2cFile struct {
	fs.Inode
	device
	bus *bench.Bus
}

// Ioctl answers what i2c-dev does; its numbers carry no size, so that only arg arrives.
func (f *i2cFile) Ioctl(ctx context.Context, _ fs.FileHandle, cmd uint32, arg uint64, _, _ []byte) (int32, syscall.Errno) {
	c, errno := callerOf(ctx)
	if errno != 0 {
		return 0, errno
	}
	switch cmd {
	case i2cRetries, i2cTimeout:
		return 0, 0
	case i2cFuncs:
		return 0, c.write(arg, binary.LittleEndian.AppendUint64(nil, i2cFunctions))
	case i2cRdwr:
		return f.rdwr(c, arg)
	}
	return 0, syscall.ENOTTY
}

// message is struct i2c_msg with its data.
type message struct {
	addr uint16
	read bool
	at   uint64 // in the caller's memory
	data []byte
}

// rdwr carries out the messages of struct i2c_rdwr_ioctl_data: a write with the read
// that follows it at the same address as one transaction, anything else alone.
func (f *i2cFile) rdwr(c caller, arg uint64) (int32, syscall.Errno) {
	var head [16]byte
	if errno := c.read(arg, head[:]); errno != 0 {
		return 0, errno
	}
	count := binary.LittleEndian.Uint32(head[8:])
	if count == 0 || count > i2cMaxMessages {
		return 0, syscall.EINVAL
	}
	raw := make([]byte, count*i2cMessageSize)
	if errno := c.read(binary.LittleEndian.Uint64(head[:]), raw); errno != 0 {
		return 0, errno
	}
	messages := make([]message, count)
	for i := range messages {
		if errno := messages[i].load(c, raw[i*i2cMessageSize:]); errno != 0 {
			return 0, errno
		}
	}
	// The buffers are written back only after the last transaction went well, so that a
	// caller never finds half an answer behind an error.
	for i := 0; i < len(messages); i++ {
		m := messages[i]
		w, r := m.data, []byte(nil)
		if m.read {
			w, r = nil, m.data
		} else if i+1 < len(messages) && messages[i+1].read && messages[i+1].addr == m.addr {
			i++
			r = messages[i].data
		}
		if errno := errnoOf(f.bus.Tx(m.addr, w, r)); errno != 0 {
			return 0, errno
		}
	}
	for _, m := range messages {
		if m.read {
			if errno := c.write(m.at, m.data); errno != 0 {
				return 0, errno
			}
		}
	}
	return int32(count), 0
}

// load decodes one struct i2c_msg and fetches what is to be written.
func (m *message) load(c caller, b []byte) syscall.Errno {
	flags, length := binary.LittleEndian.Uint16(b[2:]), binary.LittleEndian.Uint16(b[4:])
	if flags&^i2cRead != 0 || length == 0 {
		return syscall.EOPNOTSUPP // ten-bit addresses, odd protocols, quick commands
	}
	if length > i2cMaxLength {
		return syscall.EINVAL
	}
	m.addr = binary.LittleEndian.Uint16(b)
	m.read = flags&i2cRead != 0
	m.at = binary.LittleEndian.Uint64(b[8:])
	m.data = make([]byte, length)
	if m.read {
		return 0
	}
	return c.read(m.at, m.data)
}
