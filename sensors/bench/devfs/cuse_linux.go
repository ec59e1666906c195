//go:build amd64 || arm64 || riscv64

package devfs

import (
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"os"
	"slices"
	"sync"
	"syscall"

	"github.com/hanwen/go-fuse/v2/fs"
	"github.com/hanwen/go-fuse/v2/fuse"

	"fluewright/sensors/bench"
)

// linux/fuse.h: the requests that a character device meets, and cuse_init_out.
const (
	fuseOpen      = 14
	fuseRelease   = 18
	fuseFlush     = 25
	fuseInterrupt = 36
	fuseIoctl     = 39
	cuseInit      = 4096

	fuseMajor    = 7
	cuseMinWrite = 4096
	fuseInHead   = 40
	fuseOutHead  = 16
	fuseBuffer   = 64 << 10
)

// The numbers are those of the real buses (Documentation/admin-guide/devices.txt), so that
// the real modules cannot be loaded beside them.
const (
	i2cMajor = 89
	spiMajor = 153
)

// Shown is a bench whose buses are character devices.
type Shown struct {
	devices []*os.File
	done    sync.WaitGroup
}

// Show makes the bench's buses character devices of the kernel, i2c-1, spidev0.0 and so on,
// and returns when they are there. It needs root and the kernel's module cuse. Who may open
// them is udev's business: nobody but root, until then.
//
// Beside them stand a device i2c and a device spi, at which there is nothing: as those of
// the kernel's own modules, these names stand before the numbers in /proc/devices, from
// which it is told what char-i2c and char-spi mean in a unit.
func Show(b *bench.Bench) (*Shown, error) {
	s := &Shown{}
	buses, selects := b.Devices()
	show := func(name string, major, minor int, answer ioctl) error {
		f, err := os.OpenFile("/dev/cuse", os.O_RDWR, 0)
		if err != nil {
			return fmt.Errorf("open the kernel's side: %w", err)
		}
		s.devices = append(s.devices, f)
		if err := introduce(f, name, major, minor); err != nil {
			return fmt.Errorf("make the device %s: %w", name, err)
		}
		// A name or number that is taken is not said in an answer.
		if _, err := os.Stat("/sys/class/cuse/" + name); err != nil {
			return fmt.Errorf("make the device %s: %w", name, err)
		}
		s.done.Go(func() { serve(f, answer) })
		return nil
	}
	err := errors.Join(show("i2c", i2cMajor, 0, nobody), show("spi", spiMajor, 0, nobody))
	for i, name := range sorted(buses) {
		err = errors.Join(err, show(name, i2cMajor, i+1, (&i2cFile{bus: buses[name]}).Ioctl))
	}
	for i, name := range sorted(selects) {
		err = errors.Join(err, show(name, spiMajor, i+1, (&spiFile{at: selects[name]}).Ioctl))
	}
	if err != nil {
		return nil, errors.Join(err, s.Close())
	}
	return s, nil
}

// Close takes the devices away; who has one open gets errors from then on.
func (s *Shown) Close() error {
	var err error
	for _, f := range s.devices {
		err = errors.Join(err, f.Close())
	}
	s.done.Wait()
	return err
}

// ioctl answers one, as a file of go-fuse does. The kernel has copied what the number of
// the command says it carries into in, and copies out back.
type ioctl func(ctx context.Context, _ fs.FileHandle, cmd uint32, arg uint64, in, out []byte) (int32, syscall.Errno)

func nobody(context.Context, fs.FileHandle, uint32, uint64, []byte, []byte) (int32, syscall.Errno) {
	return 0, syscall.ENXIO
}

func sorted[V any](m map[string]V) (names []string) {
	for name := range m {
		names = append(names, name)
	}
	slices.Sort(names)
	return names
}

// introduce answers the kernel's first request with what the device is to be.
func introduce(dev io.ReadWriter, name string, major, minor int) error {
	r, err := next(dev, make([]byte, fuseBuffer))
	if err != nil {
		return err
	}
	if r.opcode != cuseInit || len(r.body) < 16 {
		return fmt.Errorf("the kernel asks for %d first", r.opcode)
	}
	// The kernel's own version is taken over: what is spoken here is older than any.
	b := binary.LittleEndian.AppendUint32(nil, fuseMajor)
	b = append(b, r.body[4:8]...)
	for _, v := range []int{0, 0, 0, cuseMinWrite, major, minor} {
		b = binary.LittleEndian.AppendUint32(b, uint32(v))
	}
	b = append(b, make([]byte, 10*4)...)
	return r.reply(dev, 0, append(b, "DEVNAME="+name+"\x00"...))
}

// serve answers until the kernel or Close ends it. One request at a time: a bus is one too.
func serve(dev io.ReadWriter, answer ioctl) {
	buffer := make([]byte, fuseBuffer)
	for {
		r, err := next(dev, buffer)
		if errors.Is(err, syscall.ENOENT) || errors.Is(err, syscall.EINTR) {
			continue // who asked has gone before it was read
		}
		if err != nil {
			return
		}
		var errno syscall.Errno
		var body []byte
		switch r.opcode {
		case fuseOpen:
			body = make([]byte, 16)
		case fuseRelease, fuseFlush:
		case fuseInterrupt:
			continue // none of ours lasts
		case fuseIoctl:
			body, errno = r.ioctl(answer)
		default:
			errno = syscall.ENOSYS
		}
		// It may have gone meanwhile; then nobody wants the answer.
		_ = r.reply(dev, errno, body)
	}
}

// request is what the kernel asks: struct fuse_in_header and what follows it.
type request struct {
	opcode uint32
	unique uint64
	caller fuse.Caller
	body   []byte
}

var errShort = errors.New("the kernel's request is cut off")

func next(dev io.Reader, buffer []byte) (r request, err error) {
	n, err := dev.Read(buffer)
	if err != nil {
		return r, err
	}
	b := buffer[:n]
	if n < fuseInHead || uint32(n) != binary.LittleEndian.Uint32(b) {
		return r, errShort
	}
	r.opcode, r.unique = binary.LittleEndian.Uint32(b[4:]), binary.LittleEndian.Uint64(b[8:])
	r.caller.Uid, r.caller.Gid = binary.LittleEndian.Uint32(b[24:]), binary.LittleEndian.Uint32(b[28:])
	r.caller.Pid = binary.LittleEndian.Uint32(b[32:])
	r.body = b[fuseInHead:]
	return r, nil
}

// reply writes struct fuse_out_header and, where there is no error, the body, at once.
func (r request) reply(dev io.Writer, errno syscall.Errno, body []byte) error {
	if errno != 0 {
		body = nil
	}
	b := binary.LittleEndian.AppendUint32(nil, uint32(fuseOutHead+len(body)))
	b = binary.LittleEndian.AppendUint32(b, uint32(-int32(errno)))
	b = binary.LittleEndian.AppendUint64(b, r.unique)
	_, err := dev.Write(append(b, body...))
	return err
}

// ioctl decodes struct fuse_ioctl_in, and encodes struct fuse_ioctl_out with its data.
func (r request) ioctl(answer ioctl) ([]byte, syscall.Errno) {
	if len(r.body) < 32 {
		return nil, syscall.EIO
	}
	cmd, arg := binary.LittleEndian.Uint32(r.body[12:]), binary.LittleEndian.Uint64(r.body[16:])
	size, room := binary.LittleEndian.Uint32(r.body[24:]), binary.LittleEndian.Uint32(r.body[28:])
	if uint64(size) > uint64(len(r.body)-32) || room > fuseBuffer {
		return nil, syscall.EIO
	}
	out := make([]byte, room)
	result, errno := answer(fuse.NewContext(context.Background(), &r.caller), nil, cmd, arg, r.body[32:32+size], out)
	if errno != 0 {
		return nil, errno
	}
	b := binary.LittleEndian.AppendUint32(nil, uint32(result))
	return append(append(b, make([]byte, 12)...), out...), 0
}
