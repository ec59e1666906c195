package app

import (
	"strings"
	"testing"

	"fluewright/daemon/internal/config"
	"fluewright/sensors/bus"
)

func TestAChipThatHoldsTheClockIsWarnedOf(t *testing.T) {
	adapters := []bus.Adapter{
		{Device: "/dev/i2c-1", Name: "bcm2835 (i2c@7e804000)", Links: []string{"/dev/i2c-main"}},
		{Device: "/dev/i2c-3", Name: "i2c-gpio"},
	}
	for _, tc := range []struct {
		chip, bus string
		warned    bool
	}{
		{"mcp9601", "/dev/i2c-1", true},
		{"mcp9600", "/dev/i2c-main", true},
		{"mcp9601", "/dev/i2c-3", false},
		{"bme280", "/dev/i2c-1", false},
		{"mcp9601", "bench-i2c-2", false},
	} {
		cfg := &config.Config{Sensors: []config.Sensor{{Name: "outdoor", Chip: tc.chip, Bus: tc.bus}}}
		got := stretchWarnings(cfg, adapters)
		if (len(got) == 1) != tc.warned || tc.warned && !strings.Contains(got[0], "dtoverlay=i2c-gpio") {
			t.Errorf("%s on %s: %q", tc.chip, tc.bus, got)
		}
	}
}
