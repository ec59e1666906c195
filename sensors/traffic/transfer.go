package traffic

import (
	"bytes"
	"encoding/hex"
	"errors"
	"fmt"
	"strconv"
	"strings"
	"syscall"
	"time"
)

const header = "fluewright bus traffic 1"

// transfer is one line.
type transfer struct {
	at   time.Duration
	spi  bool
	bus  string
	to   uint16 // address on I2C, mode on SPI
	w, r []byte // nil when there was no such part
	err  *failure
}

// failure is the error of a transfer as the file keeps it.
type failure struct {
	errno syscall.Errno
	text  string
}

// Error returns the text.
func (f *failure) Error() string { return f.text }

// Unwrap returns the system's number, if there was one.
func (f *failure) Unwrap() error {
	if f.errno == 0 {
		return nil
	}
	return f.errno
}

func failureOf(err error) *failure {
	if err == nil {
		return nil
	}
	f := &failure{text: strings.Join(strings.Fields(err.Error()), " ")} // one line
	if errno := syscall.Errno(0); errors.As(err, &errno) {
		f.errno = errno
	}
	return f
}

// String is the line.
func (t transfer) String() string {
	var b strings.Builder
	if t.spi {
		fmt.Fprintf(&b, "%.6f spi %s %d", t.at.Seconds(), t.bus, t.to)
	} else {
		fmt.Fprintf(&b, "%.6f i2c %s %#02x", t.at.Seconds(), t.bus, t.to)
	}
	if t.w != nil {
		fmt.Fprintf(&b, " w %x", t.w)
	}
	if t.r != nil {
		fmt.Fprintf(&b, " r %x", t.r)
	}
	if t.err != nil {
		fmt.Fprintf(&b, " ! %d %s", int(t.err.errno), t.err.text)
	}
	return b.String()
}

// question is what a driver asks, without what came of it.
func (t transfer) question() string {
	t.at, t.err, t.r = 0, nil, bytes.Repeat([]byte{0}, len(t.r))
	return strings.TrimPrefix(t.String(), "0.000000 ")
}

var errLine = errors.New("not a transfer")

// parse reads a line.
func parse(line string) (transfer, error) {
	said, failed, isFailure := strings.Cut(line, " ! ")
	f := strings.Fields(said)
	if len(f) < 4 || (f[1] != "i2c" && f[1] != "spi") {
		return transfer{}, fmt.Errorf("%w: want TIME i2c|spi BUS ADDRESS|MODE …", errLine)
	}
	t := transfer{spi: f[1] == "spi", bus: f[2]}
	seconds, err := strconv.ParseFloat(f[0], 64)
	if err != nil || !(seconds >= 0 && seconds < 1e6) {
		return transfer{}, fmt.Errorf("%w: time %q", errLine, f[0])
	}
	t.at = time.Duration(seconds * float64(time.Second)).Round(time.Microsecond)
	highest := uint64(0x7F)
	if t.spi {
		highest = 3
	}
	to, err := strconv.ParseUint(f[3], 0, 16)
	if err != nil || to > highest {
		return transfer{}, fmt.Errorf("%w: address or mode %q", errLine, f[3])
	}
	t.to = uint16(to)
	for f = f[4:]; len(f) >= 2; f = f[2:] {
		data, err := hex.DecodeString(f[1])
		switch {
		case err != nil:
			return transfer{}, fmt.Errorf("%w: bytes %q", errLine, f[1])
		case f[0] == "w" && t.w == nil && t.r == nil:
			t.w = data
		case f[0] == "r" && t.r == nil:
			t.r = data
		default:
			return transfer{}, fmt.Errorf("%w: %q", errLine, f[0])
		}
	}
	if len(f) > 0 || t.w == nil && t.r == nil {
		return transfer{}, fmt.Errorf("%w: want w BYTES, r BYTES or both", errLine)
	}
	if isFailure {
		number, text, _ := strings.Cut(failed, " ")
		errno, err := strconv.ParseUint(number, 10, 16)
		if err != nil {
			return transfer{}, fmt.Errorf("%w: error number %q", errLine, number)
		}
		t.err = &failure{errno: syscall.Errno(errno), text: strings.Join(strings.Fields(text), " ")}
	}
	return t, nil
}
