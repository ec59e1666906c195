//go:build amd64 || arm64 || riscv64

package devfs_test

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"runtime"
	"sync"
	"syscall"
	"testing"
	"time"
	"unsafe"

	"periph.io/x/conn/v3/physic"
	"periph.io/x/conn/v3/spi"
	"periph.io/x/host/v3/sysfs"

	"fluewright/sensors"
	"fluewright/sensors/bench"
	"fluewright/sensors/bench/devfs"
	"fluewright/sensors/bench/stress"
)

// mount shows a bench in a directory, or skips where that cannot be done.
func mount(t *testing.T) (*bench.Bench, string) {
	t.Helper()
	b, err := bench.New(bench.Config{Quiet: true})
	if err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	m, err := devfs.Mount(dir, b)
	if err != nil {
		if os.Getenv("FLUEWRIGHT_REAL") == "1" {
			t.Fatal(err)
		}
		t.Skipf("needs root and /dev/fuse: %v", err)
	}
	t.Cleanup(func() {
		if err := m.Close(); err != nil {
			t.Error(err)
		}
	})
	return b, dir
}

func ioctl(f *os.File, cmd uintptr, arg unsafe.Pointer) (int, error) {
	n, _, errno := syscall.Syscall(syscall.SYS_IOCTL, f.Fd(), cmd, uintptr(arg))
	if errno != 0 {
		return 0, errno
	}
	return int(n), nil
}

// rawI2C is the smallest correct client of I2C_RDWR: everything that the kernel is
// pointed at lives on the heap and is pinned.
type rawI2C struct {
	f  *os.File
	mu sync.Mutex
	io struct {
		messages [2]struct {
			addr, flags, length, _ uint16
			data                   unsafe.Pointer
		}
		call struct {
			messages unsafe.Pointer
			count    uint32
			_        uint32
		}
	}
}

func openI2C(t *testing.T, path string) *rawI2C {
	t.Helper()
	f, err := os.OpenFile(path, os.O_RDWR, 0)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { f.Close() })
	return &rawI2C{f: f}
}

func (b *rawI2C) String() string                  { return b.f.Name() }
func (b *rawI2C) SetSpeed(physic.Frequency) error { return nil }

func (b *rawI2C) Tx(addr uint16, w, r []byte) error {
	b.mu.Lock()
	defer b.mu.Unlock()
	var pin runtime.Pinner
	defer pin.Unpin()
	n := 0
	add := func(flags uint16, data []byte) {
		if len(data) > 0 {
			pin.Pin(&data[0])
			m := &b.io.messages[n]
			m.addr, m.flags, m.length, m.data = addr, flags, uint16(len(data)), unsafe.Pointer(&data[0])
			n++
		}
	}
	add(0, w)
	add(1, r)
	pin.Pin(&b.io)
	b.io.call.messages, b.io.call.count = unsafe.Pointer(&b.io.messages), uint32(n)
	done, err := ioctl(b.f, 0x707, unsafe.Pointer(&b.io.call))
	if err == nil && done != n {
		err = fmt.Errorf("%d of %d messages done", done, n)
	}
	return err
}

func TestI2CIoctls(t *testing.T) {
	b, dir := mount(t)
	bus := openI2C(t, filepath.Join(dir, "i2c-1"))

	var funcs uint64
	if _, err := ioctl(bus.f, 0x705, unsafe.Pointer(&funcs)); err != nil || funcs != 0x0EFF0009 {
		t.Errorf("I2C_FUNCS %#x, %v", funcs, err)
	}
	for _, cmd := range []uintptr{0x701, 0x702} {
		if _, err := ioctl(bus.f, cmd, nil); err != nil {
			t.Errorf("ioctl %#x: %v", cmd, err)
		}
	}
	if _, err := ioctl(bus.f, 0x720, nil); err != syscall.ENOTTY {
		t.Errorf("I2C_SMBUS: %v, want ENOTTY", err)
	}

	id := []byte{0}
	if err := bus.Tx(bench.AmbientAddr, []byte{0xD0}, id); err != nil || id[0] != 0x60 {
		t.Errorf("BME280 id %#x, %v", id[0], err)
	}
	for _, c := range []struct {
		name, line string
		addr       uint16
		want       syscall.Errno
	}{
		{"absent address", "", 0x50, syscall.EREMOTEIO},
		{"no result yet", "", bench.DraftAddr, syscall.EREMOTEIO},
		{"a chip that refuses", "fault ambient nack", bench.AmbientAddr, syscall.EREMOTEIO},
	} {
		if c.line != "" {
			if _, err := b.Do(c.line); err != nil {
				t.Fatal(err)
			}
		}
		if err := bus.Tx(c.addr, nil, id); !errors.Is(err, c.want) {
			t.Errorf("%s: %v, want %v", c.name, err, c.want)
		}
	}
	buses, _ := b.Devices()
	buses["i2c-1"].SetHang(10 * time.Millisecond)
	if _, err := b.Do("fault i2c-1 timeout"); err != nil {
		t.Fatal(err)
	}
	if err := bus.Tx(bench.AmbientAddr, nil, id); err != syscall.ETIMEDOUT {
		t.Errorf("bus held down: %v, want ETIMEDOUT", err)
	}
}

// A draft that is pinned must come out of the device file as the chip would say it.
func TestDraftThroughTheDeviceFile(t *testing.T) {
	b, dir := mount(t)
	bus := openI2C(t, filepath.Join(dir, "i2c-1"))
	for _, line := range []string{"pin draft -12.5", "pin ambient 96600", "pin room 23.5"} {
		if _, err := b.Do(line); err != nil {
			t.Fatal(err)
		}
	}
	if err := bus.Tx(bench.DraftAddr, []byte{0x36, 0x15}, nil); err != nil {
		t.Fatal(err)
	}
	if err := (sensors.SystemClock{}).Sleep(context.Background(), 20*time.Millisecond); err != nil {
		t.Fatal(err)
	}
	r := make([]byte, 9)
	if err := bus.Tx(bench.DraftAddr, nil, r); err != nil {
		t.Fatal(err)
	}
	if got, want := fmt.Sprintf("% X", r), "F4 48 9E 12 5C 35 00 F0 03"; got != want {
		t.Errorf("frame %s, want %s", got, want)
	}
}

// The unmodified host library of periph opens the chip select by its number in /dev.
func TestSPIThroughPeriph(t *testing.T) {
	_, dir := mount(t)
	const number = 97 // no board has so many
	link := fmt.Sprintf("/dev/spidev%d.0", number)
	_ = os.Remove(link) // what a killed test left
	if err := os.Symlink(filepath.Join(dir, "spidev0.0"), link); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { os.Remove(link) })

	open := func(mode spi.Mode) spi.Conn {
		p, err := sysfs.NewSPI(number, 0)
		if err != nil {
			t.Fatal(err)
		}
		t.Cleanup(func() { p.Close() })
		c, err := p.Connect(5*physic.MegaHertz, mode, 8)
		if err != nil {
			t.Fatal(err)
		}
		return c
	}
	c := open(spi.Mode1)
	r := make([]byte, 17)
	if err := c.Tx(make([]byte, 17), r); err != nil {
		t.Fatal(err)
	}
	// MAX31856 datasheet 19-7534 Rev 0, Table 6 p. 18.
	if got, want := fmt.Sprintf("% X", r[1:]), "00 03 FF 7F C0 7F FF 80 00 00 00 00 00 00 00 00"; got != want {
		t.Errorf("power-on registers %s, want %s", got, want)
	}
	if err := c.TxPackets([]spi.Packet{{W: []byte{0x01}, KeepCS: true}, {R: r[:2]}}); err != nil || r[0] != 0x03 || r[1] != 0xFF {
		t.Errorf("two packets: % X, %v", r[:2], err)
	}
	if err := c.Tx([]byte{0x83, 0x50}, nil); err != nil {
		t.Error(err)
	}
	if err := c.Tx([]byte{0x03, 0}, r[:2]); err != nil || r[1] != 0x50 {
		t.Errorf("CJHF %#x after writing 0x50, %v", r[1], err)
	}
	if err := open(spi.Mode0).Tx([]byte{0x01, 0}, r[:2]); err != nil || r[1] == 0x03 {
		t.Errorf("in the wrong mode CR1 reads %#x, %v", r[1], err)
	}
}

func TestSPIIoctls(t *testing.T) {
	_, dir := mount(t)
	f, err := os.OpenFile(filepath.Join(dir, "spidev1.0"), os.O_RDWR, 0)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	for _, c := range []struct {
		name string
		cmd  uintptr
		in   uint32
		err  error
		out  uint32
	}{
		{"write mode", 0x40016B01, 3, nil, 3},
		{"read mode", 0x80016B01, 0, nil, 3},
		{"three wires", 0x40016B01, 0x10, syscall.EINVAL, 0x10},
		{"write 32-bit mode", 0x40046B05, 1, nil, 1},
		{"read 32-bit mode", 0x80046B05, 0, nil, 1},
		{"eight bits", 0x40016B03, 8, nil, 8},
		{"nine bits", 0x40016B03, 9, syscall.EINVAL, 9},
		{"read bits", 0x80016B03, 0, nil, 8},
		{"write speed", 0x40046B04, 5000000, nil, 5000000},
		{"read speed", 0x80046B04, 0, nil, 5000000},
		{"least bit first", 0x40016B02, 1, syscall.EINVAL, 1},
		{"unknown", 0x40016B7F, 0, syscall.ENOTTY, 0},
	} {
		v := new(uint32)
		*v = c.in
		_, err := ioctl(f, c.cmd, unsafe.Pointer(v))
		if !errors.Is(err, c.err) || *v != c.out {
			t.Errorf("%s: %#x, %v; want %#x, %v", c.name, *v, err, c.out, c.err)
		}
	}
}

func TestReadingAsAFileGivesNothing(t *testing.T) {
	_, dir := mount(t)
	if b, err := os.ReadFile(filepath.Join(dir, "i2c-1")); err == nil && len(b) > 0 {
		t.Errorf("read % x", b)
	}
	entries, err := os.ReadDir(dir)
	if err != nil {
		t.Fatal(err)
	}
	var names []string
	for _, e := range entries {
		names = append(names, e.Name())
	}
	if got, want := fmt.Sprint(names), "[i2c-1 spidev0.0 spidev0.1 spidev1.0]"; got != want {
		t.Errorf("files %s, want %s", got, want)
	}
}

// The trimming words of the BME280 never change, so every byte can be checked.
func TestMovingStacksDoNotDisturb(t *testing.T) {
	_, dir := mount(t)
	bus := openI2C(t, filepath.Join(dir, "i2c-1"))
	want := []byte{0x10, 0x6e, 0x6c, 0x66, 0x32, 0x00, 0x5d, 0x95, 0xb8}
	c := stress.Run(bus, bench.AmbientAddr, []byte{0x88}, want, 300*time.Millisecond)
	if c.Wrong != 0 || c.Error != 0 || c.Good < 50 {
		t.Errorf("%+v", c)
	}
}
