package app

import (
	"fmt"
	"strings"

	"fluewright/daemon/internal/config"
	"fluewright/sensors/bus"
)

// stretchWarnings tells of chips that hold the clock on a bus whose hardware does not wait
// for it: the BCM2835's, which calls itself so on later boards too (Linux i2c-bcm2835.c,
// quirk I2C_AQ_NO_CLK_STRETCH; raspberrypi/linux issues 254 and 4884). The driver catches
// wrong words, at the price of readings.
func stretchWarnings(cfg *config.Config, adapters []bus.Adapter) (all []string) {
	names := map[string]string{}
	for _, a := range adapters {
		names[a.Device] = a.Name
		for _, link := range a.Links {
			names[link] = a.Name
		}
	}
	for _, s := range cfg.Sensors {
		if strings.HasPrefix(s.Chip, "mcp960") && strings.Contains(names[s.Bus], "bcm2835") {
			all = append(all, fmt.Sprintf("%s (%s) holds the clock of %s, and its adapter %q does not wait: "+
				"use dtoverlay=i2c-gpio for this bus, or slow it down with i2c_arm_baudrate=10000 to 50000",
				s.Name, s.Chip, s.Bus, names[s.Bus]))
		}
	}
	return all
}
