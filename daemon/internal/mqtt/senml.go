package mqtt

import (
	"encoding/json"
	"math"
	"time"

	"fluewright/analysis/frame"
	"fluewright/daemon/internal/status"
)

// record is a SenML record as RFC 8428, section 4, has it, with two members of our own.
// Receivers ignore members that they do not know (section 4.4).
type record struct {
	BaseName string  `json:"bn,omitempty"`
	BaseTime float64 `json:"bt,omitempty"`
	BaseUnit string  `json:"bu,omitempty"`
	// Version of this payload, on the first record of a pack.
	Version int     `json:"version,omitempty"`
	Name    string  `json:"n"`
	Unit    string  `json:"u,omitempty"`
	Value   float64 `json:"v"`
	Time    float64 `json:"t,omitempty"`
	// Quality is "suspect" on a number with a larger error than usual, and Fault says
	// why. A good one has neither; a channel without a usable reading has no record.
	Quality string `json:"quality,omitempty"`
	Fault   string `json:"fault,omitempty"`
}

// sample is one usable reading that waits to be packed.
type sample struct {
	at      time.Duration
	channel frame.Channel
	input   frame.Input
}

// The units of RFC 8428, section 12.1.
const (
	celsius = "Cel"
	pascal  = "Pa"
)

// pack writes samples as a SenML pack. While the clock is trusted its times are
// absolute. Otherwise there is no base time and they are seconds before the moment of
// sending, which section 4.5.3 provides for clocks that are not set.
func pack(site string, samples []sample, latest *status.Status) ([]byte, error) {
	records := make([]record, len(samples))
	origin := latest.Frame.At
	var base float64
	if latest.ClockTrusted {
		origin = samples[0].at
		base = float64(latest.WallOf(origin).UnixMilli()) / 1000
	}
	for i, s := range samples {
		r := record{Name: s.channel.String(), Time: math.Round((s.at-origin).Seconds()*1000) / 1000}
		r.Value = rounded(s.channel, s.input.Value)
		if s.channel.Pressure() {
			r.Unit = pascal
		}
		if s.input.Quality != frame.Good {
			r.Quality, r.Fault = s.input.Quality.String(), s.input.Fault
		}
		if i == 0 {
			r.Version, r.BaseName, r.BaseTime, r.BaseUnit = version, root(site), base, celsius
		}
		records[i] = r
	}
	return json.Marshal(records)
}

// rounded cuts what no sensor resolves: 0.01 °C and 0.001 Pa.
func rounded(c frame.Channel, v float64) float64 {
	if c.Pressure() {
		return math.Round(v*1000) / 1000
	}
	return math.Round(v*100) / 100
}
