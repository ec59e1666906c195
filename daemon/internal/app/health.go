package app

import (
	"time"

	"fluewright/analysis/frame"
	"fluewright/daemon/internal/config"
	"fluewright/daemon/internal/status"
	"fluewright/sensors"
	"fluewright/sensors/scan"
)

// sensorHealth tells how the chips do.
type sensorHealth struct {
	cfg          *config.Config
	board        *scan.Board
	calibrations *calibrations
	sheaths      *[frame.Count]*sheath
	supply       *supplyWatch
}

// sensors lists the chips in the configuration's order.
func (h *sensorHealth) sensors(now time.Time) []status.Sensor {
	all := make([]status.Sensor, 0, len(h.cfg.Sensors))
	for _, c := range h.cfg.Sensors {
		s := status.Sensor{Name: c.Name, Chip: c.Chip, Bus: c.Bus, Address: c.Address, Channels: c.Channels}
		if b, ok := h.board.Status(c.Name); ok {
			s.Up = b.Up
			s.LastGood = b.LastSuccess.Round(0)
			s.Samples, s.Faults = b.Samples, b.Faults
			s.Took = b.ReadDuration
			if !b.Up {
				s.Fault = h.supply.blame(b.LastFault, b.LastFaultAt)
			}
			s.Serial, s.Former, s.Path = b.Serial, b.Former, b.Path
		}
		s.Raw = h.board.Reading(c.Name, chips[c.Chip].quantity(c.Channels[0]), now).Raw
		if r := h.board.Reading(c.Name, sensors.ColdJunction, now); r.Quality >= sensors.Suspect {
			celsius := r.Value // not the reading itself, which would be kept at each look
			s.ColdJunction = &celsius
		}
		if e, refused, ok := h.calibrations.entry(c.Channels[0]); ok {
			calibration := e
			s.Calibration, s.Refused = &calibration, refused
		}
		if lag := h.sheaths[c.Channels[0]]; lag != nil {
			s.LagClamps = lag.clamped
		}
		all = append(all, s)
	}
	return all
}
