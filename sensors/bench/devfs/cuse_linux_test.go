//go:build amd64 || arm64 || riscv64

package devfs

import (
	"bytes"
	"context"
	"encoding/binary"
	"encoding/hex"
	"errors"
	"io"
	"os"
	"runtime"
	"strings"
	"syscall"
	"testing"
	"unsafe"

	"github.com/hanwen/go-fuse/v2/fs"

	"fluewright/sensors/bench"
)

// kernel is the other end of a device: messages go through whole, as they do at /dev/cuse.
type kernel struct {
	t      *testing.T
	f      *os.File
	unique uint64
}

func pair(t *testing.T) (kernel, *os.File) {
	t.Helper()
	fds, err := syscall.Socketpair(syscall.AF_UNIX, syscall.SOCK_SEQPACKET, 0)
	if err != nil {
		t.Fatal(err)
	}
	ours, theirs := os.NewFile(uintptr(fds[0]), "kernel"), os.NewFile(uintptr(fds[1]), "device")
	t.Cleanup(func() { ours.Close(); theirs.Close() })
	return kernel{t: t, f: ours}, theirs
}

// header is struct fuse_in_header with this process as the one that asks.
func header(length, opcode int, unique uint64) []byte {
	b := binary.LittleEndian.AppendUint32(nil, uint32(length))
	b = binary.LittleEndian.AppendUint32(b, uint32(opcode))
	b = binary.LittleEndian.AppendUint64(b, unique)
	b = append(b, make([]byte, 16)...)
	b = binary.LittleEndian.AppendUint32(b, uint32(os.Getpid()))
	return append(b, make([]byte, 4)...)
}

func (k *kernel) send(opcode int, body []byte) {
	k.t.Helper()
	k.unique++
	if _, err := k.f.Write(append(header(fuseInHead+len(body), opcode, k.unique), body...)); err != nil {
		k.t.Fatal(err)
	}
}

// ask sends a request and returns what comes for it.
func (k *kernel) ask(opcode int, body []byte) ([]byte, syscall.Errno) {
	k.t.Helper()
	k.send(opcode, body)
	b := make([]byte, fuseBuffer)
	n, err := k.f.Read(b)
	if err != nil {
		k.t.Fatal(err)
	}
	if b = b[:n]; n < 16 || binary.LittleEndian.Uint32(b) != uint32(n) || binary.LittleEndian.Uint64(b[8:]) != k.unique {
		k.t.Fatalf("answer % x to request %d", b, k.unique)
	}
	return b[16:], syscall.Errno(-int32(binary.LittleEndian.Uint32(b[4:])))
}

func ioctlIn(cmd uint32, arg uintptr, in []byte, room int) []byte {
	b := make([]byte, 12)
	b = binary.LittleEndian.AppendUint32(b, cmd)
	b = binary.LittleEndian.AppendUint64(b, uint64(arg))
	b = binary.LittleEndian.AppendUint32(b, uint32(len(in)))
	b = binary.LittleEndian.AppendUint32(b, uint32(room))
	return append(b, in...)
}

func TestADeviceIsIntroduced(t *testing.T) {
	k, dev := pair(t)
	done := make(chan error, 1)
	go func() { done <- introduce(dev, "i2c-1", 89, 1) }()
	// Version 7.38, as Linux 6.1 says it.
	got, errno := k.ask(cuseInit, []byte{7, 0, 0, 0, 38, 0, 0, 0, 0, 0, 0, 0, 1, 0, 0, 0})
	if err := <-done; err != nil || errno != 0 {
		t.Fatal(err, errno)
	}
	want := "07000000" + "26000000" + "00000000" + "00000000" + "00000000" + "00100000" + "59000000" + "01000000" +
		strings.Repeat("00", 40) + hex.EncodeToString([]byte("DEVNAME=i2c-1\x00"))
	if hex.EncodeToString(got) != want {
		t.Errorf("said %x, want %s", got, want)
	}

	k.send(fuseOpen, nil)
	if err := introduce(dev, "i2c-1", 89, 1); err == nil {
		t.Error("a kernel that begins with something else was taken for one that knows such devices")
	}
}

func TestADeviceAnswers(t *testing.T) {
	b, err := bench.New(bench.Config{Quiet: true})
	if err != nil {
		t.Fatal(err)
	}
	buses, selects := b.Devices()
	k, dev := pair(t)
	done := make(chan struct{})
	go func() { defer close(done); serve(dev, (&i2cFile{bus: buses["i2c-1"]}).Ioctl) }()

	if got, errno := k.ask(fuseOpen, make([]byte, 8)); errno != 0 || len(got) != 16 {
		t.Errorf("opening: % x, %v", got, errno)
	}
	// The BME280's identity, read with the messages and buffers in this process's memory.
	var pin runtime.Pinner
	defer pin.Unpin()
	register, id := []byte{0xD0}, []byte{0}
	type message struct {
		addr, flags, length, _ uint16
		data                   *byte
	}
	messages := []message{{bench.AmbientAddr, 0, 1, 0, &register[0]}, {bench.AmbientAddr, 1, 1, 0, &id[0]}}
	call := &struct {
		messages *message
		count    uint64
	}{&messages[0], 2}
	for _, p := range []any{&register[0], &id[0], &messages[0], call} {
		pin.Pin(p)
	}
	at := uintptr(unsafe.Pointer(call))
	if got, errno := k.ask(fuseIoctl, ioctlIn(i2cRdwr, at, nil, 0)); errno != 0 || !bytes.Equal(got, append([]byte{2}, make([]byte, 15)...)) || id[0] != 0x60 {
		t.Errorf("two messages: % x, %v, identity %#x", got, errno, id[0])
	}
	messages[0].addr, messages[1].addr = 0x50, 0x50
	if got, errno := k.ask(fuseIoctl, ioctlIn(i2cRdwr, at, nil, 0)); errno != syscall.EREMOTEIO || len(got) != 0 {
		t.Errorf("nobody at the address: % x, %v", got, errno)
	}
	k.send(fuseInterrupt, make([]byte, 8)) // is not answered
	for _, c := range []struct {
		name   string
		opcode int
		body   []byte
		want   syscall.Errno
	}{
		{"reading", 15, make([]byte, 40), syscall.ENOSYS},
		{"an ioctl that is cut off", fuseIoctl, make([]byte, 31), syscall.EIO},
		{"an ioctl with less behind it than it says", fuseIoctl, ioctlIn(i2cRdwr, 0, []byte{1, 2}, 0)[:33], syscall.EIO},
		{"an ioctl that nobody knows", fuseIoctl, ioctlIn(0x720, 0, nil, 0), syscall.ENOTTY},
		{"flushing", fuseFlush, make([]byte, 24), 0},
		{"closing", fuseRelease, make([]byte, 24), 0},
	} {
		if got, errno := k.ask(c.opcode, c.body); errno != c.want || len(got) != 0 {
			t.Errorf("%s: % x, %v, want %v", c.name, got, errno, c.want)
		}
	}
	k.f.Close()
	<-done

	k, dev = pair(t)
	go serve(dev, (&spiFile{at: selects["spidev0.0"]}).Ioctl)
	if _, errno := k.ask(fuseIoctl, ioctlIn(spiWrMode, 0, []byte{3}, 0)); errno != 0 {
		t.Error(errno)
	}
	if got, errno := k.ask(fuseIoctl, ioctlIn(spiRdMode, 0, nil, 1)); errno != 0 || len(got) != 17 || got[16] != 3 {
		t.Errorf("the mode that was set: % x, %v", got, errno)
	}
}

func TestWithoutTheKernelsModule(t *testing.T) {
	if _, err := os.Stat("/dev/cuse"); err == nil {
		t.Skip("it is there")
	}
	b, err := bench.New(bench.Config{Quiet: true})
	if err != nil {
		t.Fatal(err)
	}
	if _, err := Show(b); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("%v", err)
	}
}

// once is a device that gives one request and takes what comes.
type once struct {
	io.Reader
	replies [][]byte
}

func (o *once) Write(b []byte) (int, error) {
	o.replies = append(o.replies, bytes.Clone(b))
	return len(b), nil
}

// Whatever the kernel asks, there is at most one answer to it, and it has the length that
// it says.
func FuzzRequest(f *testing.F) {
	for _, opcode := range []int{fuseOpen, fuseIoctl, fuseInterrupt, cuseInit, 15} {
		body := ioctlIn(1, 2, []byte{3}, 4)
		f.Add(append(header(fuseInHead+len(body), opcode, 7), body...))
	}
	f.Add([]byte{4, 0, 0, 0})
	f.Fuzz(func(t *testing.T, b []byte) {
		o := &once{Reader: bytes.NewReader(b)}
		serve(o, func(_ context.Context, _ fs.FileHandle, cmd uint32, _ uint64, in, out []byte) (int32, syscall.Errno) {
			copy(out, in)
			return 1, syscall.Errno(cmd & 1)
		})
		o.Reader = bytes.NewReader(b)
		_ = introduce(o, "i2c", 89, 0)
		if len(o.replies) > 2 {
			t.Fatalf("%d answers", len(o.replies))
		}
		for _, r := range o.replies {
			if len(r) < 16 || int(binary.LittleEndian.Uint32(r)) != len(r) {
				t.Errorf("answer % x", r)
			}
		}
	})
}
