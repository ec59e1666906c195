package app

import (
	"time"

	"fluewright/daemon/internal/config"
	"fluewright/daemon/internal/status"
	"fluewright/sensors/scan"
)

// health tells how the chips do.
type health struct {
	cfg   *config.Config
	board *scan.Board
}

func newHealth(cfg *config.Config, b *scan.Board) *health { return &health{cfg, b} }

// sensors lists the chips in the configuration's order.
func (h *health) sensors(now time.Time) []status.Sensor {
	all := make([]status.Sensor, 0, len(h.cfg.Sensors))
	for _, c := range h.cfg.Sensors {
		s := status.Sensor{Name: c.Name, Chip: c.Chip, Bus: c.Bus, Address: c.Address, Channels: c.Channels}
		if b, ok := h.board.Status(c.Name); ok {
			s.Up = b.Up
			s.LastGood = b.LastSuccess.Round(0)
			s.Samples, s.Faults = b.Samples, b.Faults
			s.Took = b.ReadDuration
			if !b.Up {
				s.Fault = b.LastFault
			}
		}
		s.Raw = h.board.Reading(c.Name, chips[c.Chip].quantity(c.Channels[0]), now).Raw
		all = append(all, s)
	}
	return all
}
