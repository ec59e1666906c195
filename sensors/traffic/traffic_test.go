package traffic_test

import (
	"errors"
	"strings"
	"syscall"
	"testing"
	"testing/synctest"
	"time"

	"github.com/google/go-cmp/cmp"
	"periph.io/x/conn/v3/i2c"
	"periph.io/x/conn/v3/physic"
	"periph.io/x/conn/v3/spi"

	"fluewright/sensors"
	"fluewright/sensors/bench"
	"fluewright/sensors/bus"
	"fluewright/sensors/sdp8xx"
	"fluewright/sensors/traffic"
)

const sample = `fluewright bus traffic 1
# a BME280 tells its identity; a pressure sensor refuses

0.000000 i2c /dev/i2c-1 0x76 w d0 r 60
0.001000 i2c /dev/i2c-1 0x25 r 000000 ! 121 remote I/O error
0.002000 spi /dev/spidev0.0 1 w 0c000000 r ff064f00
0.003000 i2c /dev/i2c-1 0x25 w 3ff9
`

func TestPlayback(t *testing.T) {
	p, err := traffic.Read(strings.NewReader(sample))
	if err != nil {
		t.Fatal(err)
	}
	b, err := p.Opener().I2C("/dev/i2c-1")
	if err != nil {
		t.Fatal(err)
	}
	port, err := p.Opener().SPI("/dev/spidev0.0")
	if err != nil {
		t.Fatal(err)
	}
	c, err := port.Connect(physic.MegaHertz, spi.Mode1, 8)
	if err != nil {
		t.Fatal(err)
	}
	// Another question than the recorded one is an error and plays nothing.
	id := make([]byte, 1)
	if err := b.Tx(0x76, []byte{0xD1}, id); !errors.Is(err, traffic.ErrDiffers) {
		t.Errorf("another register: %v", err)
	}
	if err := b.Tx(0x76, []byte{0xD0}, id); err != nil || id[0] != 0x60 {
		t.Errorf("identity %#x, %v", id[0], err)
	}
	if err := b.Tx(0x25, nil, make([]byte, 3)); !errors.Is(err, syscall.Errno(121)) {
		t.Errorf("refused with %v, want errno 121", err)
	}
	hot := make([]byte, 4)
	if err := c.Tx([]byte{0x0C, 0, 0, 0}, hot); err != nil || hot[2] != 0x4F {
		t.Errorf("registers %x, %v", hot, err)
	}
	if diff := cmp.Diff([]string{"0.003000 i2c /dev/i2c-1 0x25 w 3ff9"}, p.Rest()); diff != "" {
		t.Errorf("rest (-want +got):\n%s", diff)
	}
	if err := c.Tx([]byte{0}, nil); !errors.Is(err, traffic.ErrDiffers) {
		t.Errorf("after the end: %v", err)
	}
	if _, err := p.Opener().I2C("/dev/i2c-2"); sensors.CodeOf(err) != sensors.DeviceMissing {
		t.Errorf("a bus that is not in the record: %v", err)
	}
}

func TestWrongModeDiffers(t *testing.T) {
	p, err := traffic.Read(strings.NewReader(sample))
	if err != nil {
		t.Fatal(err)
	}
	port, err := p.Opener().SPI("/dev/spidev0.0")
	if err != nil {
		t.Fatal(err)
	}
	c, err := port.Connect(physic.MegaHertz, spi.Mode0, 8)
	if err != nil {
		t.Fatal(err)
	}
	if err := c.Tx([]byte{0x0C, 0, 0, 0}, make([]byte, 4)); !errors.Is(err, traffic.ErrDiffers) {
		t.Errorf("%v, want %v", err, traffic.ErrDiffers)
	}
}

// A driver on a virtual chip is recorded; on the record it gives the same samples and the
// same faults, the kernel's number with them.
func TestDriverOnItsOwnRecord(t *testing.T) {
	run := func(t *testing.T, open bus.Opener, meanwhile func(look int)) (seen []string) {
		t.Helper()
		b, err := open.I2C("i2c-1")
		if err != nil {
			t.Fatal(err)
		}
		dev, err := sdp8xx.New(b, &sdp8xx.DefaultOpts)
		if err != nil {
			t.Fatal(err)
		}
		if err := dev.Start(t.Context()); err != nil {
			t.Fatal(err)
		}
		for look := range 6 {
			meanwhile(look)
			time.Sleep(100 * time.Millisecond)
			s, err := dev.Sense(t.Context())
			var errno syscall.Errno
			errors.As(err, &errno)
			seen = append(seen, s.Raw.String()+string(sensors.CodeOf(err))+errno.Error())
		}
		return seen
	}
	synctest.Test(t, func(t *testing.T) {
		house, err := bench.New(bench.Config{Seed: 3})
		if err != nil {
			t.Fatal(err)
		}
		buses, _ := house.Devices()
		var file strings.Builder
		r := traffic.NewRecorder(&file, bus.Opener{I2C: func(name string) (i2c.BusCloser, error) { return buses[name].Open() }}, sensors.SystemClock{})
		live := run(t, r.Opener(), func(look int) {
			if f, ok := map[int]string{2: "fault draft nack", 3: "clear draft", 4: "fault draft crc"}[look]; ok {
				if _, err := house.Do(f); err != nil {
					t.Fatal(err)
				}
			}
		})
		if err := r.Err(); err != nil {
			t.Fatal(err)
		}
		p, err := traffic.Read(strings.NewReader(file.String()))
		if err != nil {
			t.Fatal(err)
		}
		if diff := cmp.Diff(live, run(t, p.Opener(), func(int) {})); diff != "" {
			t.Errorf("(-live +record):\n%s", diff)
		}
		if rest := p.Rest(); len(rest) > 0 {
			t.Errorf("left: %q", rest)
		}
		if !strings.Contains(strings.Join(live, " "), "no-answer") || !strings.Contains(strings.Join(live, " "), "bad-checksum") {
			t.Errorf("no faults in %q", live)
		}
	})
}

type full struct{}

func (full) Write([]byte) (int, error) { return 0, syscall.ENOSPC }

func TestRecordThatCannotBeWritten(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		house, err := bench.New(bench.Config{})
		if err != nil {
			t.Fatal(err)
		}
		buses, _ := house.Devices()
		r := traffic.NewRecorder(full{}, bus.Opener{I2C: func(name string) (i2c.BusCloser, error) { return buses[name].Open() }}, sensors.SystemClock{})
		b, err := r.Opener().I2C("i2c-1")
		if err != nil {
			t.Fatal(err)
		}
		id := make([]byte, 1)
		if err := b.Tx(0x76, []byte{0xD0}, id); err != nil || id[0] != 0x60 {
			t.Errorf("the transfer suffers: %v", err)
		}
		if !errors.Is(r.Err(), syscall.ENOSPC) {
			t.Errorf("%v, want %v", r.Err(), syscall.ENOSPC)
		}
	})
}

func TestBadFiles(t *testing.T) {
	const head = "fluewright bus traffic 1\n"
	for name, tc := range map[string]struct{ file, want string }{
		"empty":               {"", "empty"},
		"another file":        {"time,flue_celsius\n", "line 1"},
		"another version":     {"fluewright bus traffic 2\n", "line 1"},
		"no such kind":        {head + "0 usb x 1 w 00\n", "line 2"},
		"no time":             {head + "now i2c b 0x25 w 00\n", "time"},
		"ten-bit address":     {head + "\n0 i2c b 0x125 w 00\n", "line 3"},
		"mode":                {head + "0 spi b 4 w 00\n", "mode"},
		"neither way":         {head + "0 i2c b 0x25\n", "want w BYTES"},
		"odd digits":          {head + "0 i2c b 0x25 w 123\n", "bytes"},
		"read, then written":  {head + "0 i2c b 0x25 r 00 w 00\n", `"w"`},
		"no error number":     {head + "0 i2c b 0x25 w 00 ! broken\n", "error number"},
		"one bus, both kinds": {head + "0 i2c b 0x25 w 00\n0 spi b 1 w 00\n", "line 3"},
	} {
		t.Run(name, func(t *testing.T) {
			if _, err := traffic.Read(strings.NewReader(tc.file)); err == nil || !strings.Contains(err.Error(), tc.want) {
				t.Errorf("%v, want %q", err, tc.want)
			}
		})
	}
}

// What is read can be written, and read again as the same.
func FuzzRead(f *testing.F) {
	f.Add(sample)
	f.Add("fluewright bus traffic 1\n1.5 spi p 3 w 00 ! 0 text  of it\n")
	f.Fuzz(func(t *testing.T, file string) {
		p, err := traffic.Read(strings.NewReader(file))
		if err != nil {
			return
		}
		text := "fluewright bus traffic 1\n" + strings.Join(p.Rest(), "\n")
		again, err := traffic.Read(strings.NewReader(text))
		if err != nil {
			t.Fatalf("%v in\n%s", err, text)
		}
		if diff := cmp.Diff(p.Rest(), again.Rest()); diff != "" {
			t.Errorf("(-read +written and read):\n%s", diff)
		}
	})
}
