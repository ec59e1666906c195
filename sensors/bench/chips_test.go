package bench

import (
	"encoding/hex"
	"errors"
	"strings"
	"testing"
	"time"

	"periph.io/x/conn/v3/physic"
	"periph.io/x/conn/v3/spi"

	"fluewright/sensors"
	"fluewright/sensors/thermocouple"
)

// dialogue is transactions with one chip: "01 C1 83" writes, "20 > 41 10" writes a
// pointer and expects bytes, "wait 400ms" lets time pass, "nack" before expects a refusal.
func dialogue(t *testing.T, c Chip, lines ...string) {
	t.Helper()
	bytes := func(s string) []byte {
		b, err := hex.DecodeString(strings.ReplaceAll(s, " ", ""))
		if err != nil {
			t.Fatal(err)
		}
		return b
	}
	for i, line := range lines {
		if d, ok := strings.CutPrefix(line, "wait "); ok {
			wait(must(time.ParseDuration(d)))
			continue
		}
		line, refused := strings.CutPrefix(line, "nack ")
		w, want, _ := strings.Cut(line, ">")
		r := make([]byte, len(bytes(want)))
		err := c.Tx(bytes(w), r)
		switch {
		case refused != errors.Is(err, errNoAck):
			t.Errorf("line %d, %q: %v", i, line, err)
		case !refused && hex.EncodeToString(r) != hex.EncodeToString(bytes(want)):
			t.Errorf("line %d, %q: answers % X", i, line, r)
		}
	}
}

func must[T any](v T, err error) T {
	if err != nil {
		panic(err)
	}
	return v
}

// MAX31855 19-5793 Rev 5, Tables 3 to 5, p. 9 and 10. At the same temperature of both
// junctions the straight line does not matter.
func TestMAX31855Frames(t *testing.T) {
	for _, v := range []struct {
		hot, cold float64
		fault     Fault
		frame     string
	}{
		{25, 25, 0, "01 90 19 00"},
		{-1, -1, 0, "FF F0 FF 00"},
		{400, 25, Open, "7F FD 19 01"},
		{400, 25, ShortGround, "01 91 19 02"},
		{400, 25, ShortSupply, "01 91 19 04"},
		// E(K) is 20.644 mV at 500 °C and 1.000 at 25 (NIST Monograph 175), and a straight
		// line of 41.276 µV/°C makes 500.92 °C of the difference (p. 8).
		{500, 25, 0, "1F 50 19 00"},
	} {
		bubble(t, v.frame, func(t *testing.T) {
			c := NewMAX31855(sensors.SystemClock{}, thermocouple.K, always(v.hot), always(v.cold))
			if err := c.Inject(v.fault); err != nil {
				t.Fatal(err)
			}
			dialogue(t, c, "00 00 00 00 > 00 00 00 00", "wait 200ms", "00 00 00 00 > "+v.frame)
		})
	}
	bubble(t, "a look within the conversion repeats the frame and puts the next one off", func(t *testing.T) {
		hot := 25.0
		c := NewMAX31855(sensors.SystemClock{}, thermocouple.K, func() float64 { return hot }, always(25))
		dialogue(t, c, "wait 200ms", "00 > 01 90 19 00")
		hot = 400
		for range 5 {
			dialogue(t, c, "wait 40ms", "00 > 01 90 19 00")
		}
		wait(70 * time.Millisecond)
		r := make([]byte, 4)
		if err := c.Tx(nil, r); err != nil || r[0] == 0x01 {
			t.Errorf("% X, %v", r, err)
		}
	})
	bubble(t, "the phase of the clock matters", func(t *testing.T) {
		c := NewMAX31855(sensors.SystemClock{}, thermocouple.K, always(25), always(25))
		wait(time.Second)
		for mode, want := range map[spi.Mode]byte{spi.Mode0: 0x01, spi.Mode2: 0x01, spi.Mode1: 0x03} {
			p := must(NewSelect(sensors.SystemClock{}, "spi", c).Open())
			r := make([]byte, 4)
			if err := must(p.Connect(physic.MegaHertz, mode, 8)).Tx(make([]byte, 4), r); err != nil || r[0] != want {
				t.Errorf("%s: % X, %v", mode, r, err)
			}
			wait(time.Second)
		}
	})
}

// MCP9600 DS20005426G: Table 5-1 and Registers 5-2 to 5-9.
func TestMCP9601Dialogue(t *testing.T) {
	newChip := func() *MCP9601 {
		return NewMCP9601(sensors.SystemClock{}, always(1600), always(25))
	}
	bubble(t, "identity, configuration and a conversion", func(t *testing.T) {
		dialogue(t, newChip(),
			"20 > 41 10", "05 > 00", "06 > 00", "10 > 00 00", "04 > 00", "00 > 00 00",
			"05 30", "10 7D 03", "05 > 30", "10 > 7D 00",
			"wait 320ms", "04 > 40", "00 > 64 00", "01 > 62 70", "02 > 01 90",
			"04 00", "04 > 00", "wait 320ms", "04 > 40", "04 40", "04 > 40")
	})
	bubble(t, "shut down it converts no more", func(t *testing.T) {
		dialogue(t, newChip(), "06 01", "wait 1s", "04 > 00")
	})
	bubble(t, "open: the old temperature stands", func(t *testing.T) {
		hot := 100.0
		c := NewMCP9601(sensors.SystemClock{}, func() float64 { return hot }, always(25))
		dialogue(t, c, "wait 320ms", "04 > 40", "00 > 06 40")
		hot = 200
		if err := c.Inject(Open); err != nil {
			t.Fatal(err)
		}
		dialogue(t, c, "wait 320ms", "04 > 50", "00 > 06 40")
	})
	bubble(t, "brown-out", func(t *testing.T) {
		c := newChip()
		dialogue(t, c, "05 30")
		if err := c.Inject(BrownOut); err != nil {
			t.Fatal(err)
		}
		dialogue(t, c, "nack 05", "wait 20ms", "05 > 00")
	})
}

// ADS1115 SBAS444D: section 9.6.3 and Table 5. 2.5 Pa of ±25 is 0.54 of a supply of 5.02 V.
func TestTransmitterDialogue(t *testing.T) {
	bubble(t, "conversions take 10 % longer than the rate says", func(t *testing.T) {
		c := NewTransmitter(sensors.SystemClock{}, always(2.5), -25, 25)
		dialogue(t, c,
			"01 > 85 83", "00 > 00 00",
			"01 C1 83", "wait 8ms", "01 > 41 83", "00 > 00 00", "wait 1ms", "01 > C1 83", "00 > 38 7A",
			"01 D1 83", "wait 9ms", "01 > D1 83", "00 > 68 95")
		c.Reset()
		dialogue(t, c, "01 > 85 83")
	})
}

// Linux drivers/hwmon/jc42.c: identity and the 13 bits of the temperature.
func TestMCP9808Dialogue(t *testing.T) {
	bubble(t, "registers", func(t *testing.T) {
		c := NewMCP9808(sensors.SystemClock{}, always(-10.25))
		dialogue(t, c,
			"06 > 00 54", "07 > 04 00", "08 > 03", "05 > 00 00", "wait 250ms", "05 > 1F 5C",
			"02 07 D0", "02 > 07 D0", "0F > 00 00")
		if err := c.Inject(BrownOut); err != nil {
			t.Fatal(err)
		}
		dialogue(t, c, "05 > 00 00", "02 > 00 00")
	})
}

// Only what the multiplexer's register names is connected, and bits of two chips mix.
func TestMuxConnects(t *testing.T) {
	bubble(t, "channels", func(t *testing.T) {
		b := NewBus(sensors.SystemClock{}, "bus")
		m := NewMux()
		b.Attach(0x70, m)
		m.Attach(0, 0x18, NewMCP9808(sensors.SystemClock{}, always(1)))
		m.Attach(7, 0x18, NewMCP9808(sensors.SystemClock{}, always(2)))
		wait(time.Second)
		for _, v := range []struct {
			register byte
			want     []byte
		}{
			{0x01, []byte{0x00, 0x10}},
			{0x80, []byte{0x00, 0x20}},
			{0x81, []byte{0x00, 0x00}},
			{0x00, nil},
			{0x02, nil},
		} {
			if err := b.Tx(0x70, []byte{v.register}, nil); err != nil {
				t.Fatal(err)
			}
			r := make([]byte, 2)
			err := b.Tx(0x18, []byte{5}, r)
			if (err == nil) != (v.want != nil) || err == nil && string(r) != string(v.want) {
				t.Errorf("register %02x: % x, %v", v.register, r, err)
			}
		}
		dialogue(t, m, "> 02")
		if err := m.Inject(BrownOut); err != nil {
			t.Fatal(err)
		}
		dialogue(t, m, "> 00")
	})
}
