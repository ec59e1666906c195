package mqtt

import (
	"encoding/json"
	"math"
	"time"

	"fluewright/analysis/frame"
)

// record is a SenML record as RFC 8428, section 4, has it, with two members of our own.
// Receivers ignore members that they do not know (section 4.4).
type record struct {
	BaseName string  `json:"bn,omitempty"`
	BaseTime float64 `json:"bt,omitempty"`
	BaseUnit string  `json:"bu,omitempty"`
	// Version of this payload, on the first record of a pack, as are the next three: the run
	// of the program, the moment on its clock that t counts from, in seconds, and, where values
	// are means, how long from their time on. Run, moment and name tell a sample that comes
	// again, whatever the wall clock turned out to be.
	Version int      `json:"version,omitempty"`
	Boot    string   `json:"boot,omitempty"`
	At      *float64 `json:"at,omitempty"`
	Mean    float64  `json:"mean_seconds,omitempty"`

	Name  string  `json:"n"`
	Unit  string  `json:"u,omitempty"`
	Value float64 `json:"v"`
	Time  float64 `json:"t,omitempty"`
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

// origin is what the times of a pack count from: the moment at of a run, which was wall, or of
// which no time is known: then it is the moment of sending, which section 4.5.3 provides for
// clocks that are not set.
type origin struct {
	boot string
	at   time.Duration
	wall time.Time // zero if not known
}

// pack writes samples as a SenML pack. base is the site's root topic, mean over how long they
// are means, zero if they are none.
func pack(base string, o origin, mean time.Duration, samples []sample) ([]byte, error) {
	records := make([]record, len(samples))
	for i, s := range samples {
		r := record{Name: s.channel.String(), Time: math.Round((s.at-o.at).Seconds()*1000) / 1000}
		r.Value = rounded(s.channel, s.input.Value)
		if s.channel.Pressure() {
			r.Unit = pascal
		}
		if s.input.Quality != frame.Good {
			r.Quality, r.Fault = s.input.Quality.String(), s.input.Fault
		}
		if i == 0 {
			at := math.Round(o.at.Seconds()*1000) / 1000
			r.Version, r.BaseName, r.BaseUnit = version, base, celsius
			r.Boot, r.At, r.Mean = o.boot, &at, mean.Seconds()
			if !o.wall.IsZero() {
				r.BaseTime = float64(o.wall.UnixMilli()) / 1000
			}
		}
		records[i] = r
	}
	return json.Marshal(records)
}

// means makes one sample of those of a channel that lie in the same stretch of so long, in the
// order in which these begin. It has the worst quality of them.
func means(samples []sample, over time.Duration) []sample {
	type group struct {
		channel frame.Channel
		no      time.Duration
	}
	var all []sample
	where := map[group]int{}
	n := map[group]float64{}
	for _, s := range samples {
		g := group{s.channel, s.at / over}
		n[g]++
		i, known := where[g]
		if !known {
			where[g] = len(all)
			all = append(all, s)
			continue
		}
		m := &all[i].input
		m.Value += (s.input.Value - m.Value) / n[g]
		if s.input.Quality < m.Quality {
			m.Quality, m.Fault = s.input.Quality, s.input.Fault
		}
	}
	return all
}

// rounded cuts what no sensor resolves: 0.01 °C and 0.001 Pa.
func rounded(c frame.Channel, v float64) float64 {
	if c.Pressure() {
		return math.Round(v*1000) / 1000
	}
	return math.Round(v*100) / 100
}
