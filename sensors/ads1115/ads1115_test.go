package ads1115

import (
	"context"
	"errors"
	"testing"
	"testing/synctest"
	"time"

	"periph.io/x/conn/v3/i2c"

	"fluewright/sensors"
	"fluewright/sensors/bus/bustest"
)

// SBAS444D, Table 5: +FS·(2^15−1)/2^15, +FS/2^15, 0, −FS/2^15 and −FS.
func TestVolts(t *testing.T) {
	for _, tc := range []struct {
		full FullScale
		code uint16
		want float64
	}{
		{Volts6144, 0x7FFF, 6.1438125},
		{Volts6144, 0x0001, 187.5e-6},
		{Volts4096, 0x7FFF, 4.095875},
		{Volts4096, 0x0001, 125e-6},
		{Volts4096, 0x0000, 0},
		{Volts4096, 0xFFFF, -125e-6},
		{Volts4096, 0x8000, -4.096},
	} {
		if got := tc.full.Volts(int16(tc.code)); got < tc.want-1e-9 || got > tc.want+1e-9 {
			t.Errorf("%04x: %v V, want %v", tc.code, got, tc.want)
		}
	}
}

func newDev(t *testing.T, b i2c.Bus) *Dev {
	t.Helper()
	d, err := New(b, 0x49, nil)
	if err != nil {
		t.Fatal(err)
	}
	return d
}

// The configuration words: MUX 100 to 111, PGA 000 and 001, MODE 1, DR 100, COMP_QUE 11
// (section 9.6.3), with OS. The same as periph devices v3.7.4 composes (ads1x15.go).
func TestRead(t *testing.T) {
	for _, tc := range []struct {
		name  string
		input int
		full  FullScale
		ops   []string
		code  int16
		fault sensors.Code
	}{
		{"input 0", 0, Volts6144, []string{"01 C1 83", "01 > C1 83", "00 > 12 34"}, 0x1234, ""},
		{"input 3", 3, Volts4096, []string{"01 F3 83", "01 > F3 83", "00 > FF FE"}, -2, ""},
		{"slow clock", 1, Volts4096, []string{"01 D3 83", "01 > 53 83", "01 > 53 83", "01 > D3 83", "00 > 00 07"}, 7, ""},
		{"never ends", 1, Volts4096, []string{"01 D3 83", "01 > 53 83", "01 > 53 83", "01 > 53 83", "01 > 53 83", "01 > 53 83"}, 0, sensors.ImpossibleFrame},
		// 0x8583 is the reset value (section 9.6.3).
		{"a dip of the supply, or a general-call reset", 1, Volts4096, []string{"01 D3 83", "01 > 85 83"}, 0, sensors.LostConfiguration},
		{"another's input", 1, Volts4096, []string{"01 D3 83", "01 > C3 83"}, 0, sensors.LostConfiguration},
		{"line stays high", 1, Volts4096, []string{"01 D3 83", "01 > FF FF"}, 0, sensors.StuckHigh},
		{"line stays low", 1, Volts4096, []string{"01 D3 83", "01 > 00 00"}, 0, sensors.StuckLow},
	} {
		t.Run(tc.name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				d := newDev(t, bustest.New(t, bustest.At(t, 0x49, tc.ops...)...))
				began := time.Now()
				code, err := d.Read(t.Context(), tc.input, tc.full)
				if code != tc.code || sensors.CodeOf(err) != tc.fault || (err == nil) != (tc.fault == "") {
					t.Errorf("%d, %v, want %d, %q", code, err, tc.code, tc.fault)
				}
				// 1/128 s, 10 % late (section 7.5).
				if got := time.Since(began); got < 8594*time.Microsecond {
					t.Errorf("read after %v", got)
				}
			})
		})
	}
	synctest.Test(t, func(t *testing.T) {
		ops := bustest.At(t, 0x49, "01 C1 83", "01 > C1 83", "00 > 12 34")
		bustest.FailEach(t, ops, func(t *testing.T, b i2c.Bus) error {
			_, err := newDev(t, b).Read(t.Context(), 0, Volts6144)
			return err
		})
	})
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if _, err := newDev(t, bustest.New(t, bustest.At(t, 0x49, "01 C1 83")...)).Read(ctx, 0, Volts6144); !errors.Is(err, context.Canceled) {
		t.Errorf("cancelled: %v", err)
	}
}

func TestRefuses(t *testing.T) {
	if _, err := New(bustest.New(t), 0x4C, nil); err == nil {
		t.Error("address 0x4c")
	}
	if _, err := newDev(t, bustest.New(t)).Read(t.Context(), 4, Volts4096); err == nil {
		t.Error("input 4")
	}
}
