// Package instruments tells how the chips of a site and their wiring do: what a technician
// far away needs to know before anybody is sent. It judges nothing that was not judged when
// it happened.
package instruments

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"time"

	"fluewright/analysis/frame"
	"fluewright/daemon/internal/calibrate"
	"fluewright/daemon/internal/status"
	"fluewright/daemon/internal/verdict"
	"fluewright/sensors"
)

// Report is all of a site at one tick.
type Report struct {
	Time        time.Time    `json:"time"`
	Instruments []Instrument `json:"instruments"`
	Supply      Supply       `json:"supply"`
}

// Supply is the voltage that the board is fed with.
type Supply struct {
	// Watched is whether the board can tell.
	Watched bool       `json:"watched"`
	Low     bool       `json:"low"`
	Dips    uint64     `json:"dips"` // since the program began
	LastDip *time.Time `json:"last_dip_at"`
}

// Instrument is one chip.
type Instrument struct {
	Name    string `json:"name"`
	Chip    string `json:"chip"`
	Bus     string `json:"bus"`
	Address string `json:"address,omitempty"` // on I2C, "0x25"
	Serial  string `json:"serial,omitempty"`
	// Former is the serial number of the specimen that it replaced while the program ran.
	Former string `json:"former_serial,omitempty"`
	// Up says that the last look gave a sample.
	Up       bool       `json:"up"`
	LastGood *time.Time `json:"last_good_at"`
	// Age is how long ago that was.
	Age *float64 `json:"age_seconds"`
	// Took is how long the last look lasted.
	Took    float64 `json:"read_seconds"`
	Samples uint64  `json:"samples"` // since the program began
	// Fault is the present one; null when up.
	Fault *Fault `json:"fault"`
	// Faults counts each kind since the program began, the most frequent first.
	Faults []FaultCount `json:"faults"`
	// Raw are the words as they came over the bus, hexadecimal.
	Raw          string   `json:"raw,omitempty"`
	ColdJunction *float64 `json:"cold_junction_celsius,omitempty"`
	// Spikes counts samples withheld, Frozen looks that found a value frozen, Jumps those of
	// the cold junction, Lag readings whose sheath's lag was not made up for in full.
	Spikes uint64 `json:"spikes"`
	Frozen uint64 `json:"frozen_looks"`
	Jumps  uint64 `json:"cold_junction_jumps"`
	Lag    uint64 `json:"lag_clamps"`
	// Calibration is that of its first channel, null without one; Refused says why it is not
	// used.
	Calibration *calibrate.Entry `json:"calibration"`
	Refused     string           `json:"calibration_refused,omitempty"`
	Readings    []Reading        `json:"readings"`
}

// Fault is why there is no reading.
type Fault struct {
	Code  string `json:"code"`
	Part  string `json:"part"` // "wiring", "chip", "bus", "board"
	Title string `json:"title"`
	// Detail is what was seen, and Hint what to look at first.
	Detail string `json:"detail,omitempty"`
	Hint   string `json:"hint"`
}

// FaultCount is how often a fault was met.
type FaultCount struct {
	Code  string `json:"code"`
	Part  string `json:"part"`
	Title string `json:"title"`
	Hint  string `json:"hint"`
	Count uint64 `json:"count"`
}

// Reading is what the chip says of one channel: °C or Pa, null where there is none.
type Reading struct {
	Channel string   `json:"channel"`
	Value   *float64 `json:"value"`
	Unit    string   `json:"unit"` // "celsius" or "pascals"
	Quality string   `json:"quality"`
	// Why says in words what is wrong with it.
	Why  string `json:"why,omitempty"`
	Hint string `json:"hint,omitempty"`
	// Taken is when it was last really measured.
	Taken *time.Time `json:"taken_at"`
	// Scatter is the robust standard deviation of one reading from the next over the last
	// minutes, slow change left out; null where there were too few. A draft's is its flutter.
	Scatter *float64 `json:"scatter"`
}

// Of tells how the chips did at a tick. silence is how long no tick has come since, if that
// is too long: nothing is up then.
func Of(s *status.Status, scatter [frame.Count]float64, silence time.Duration) Report {
	r := Report{Time: s.Wall.UTC(), Instruments: []Instrument{}, Supply: Supply{
		Watched: s.Supply.Watched, Low: s.Supply.Low, Dips: s.Supply.Dips, LastDip: known(s.Supply.LastDip),
	}}
	for i := range s.Sensors {
		r.Instruments = append(r.Instruments, instrument(s, &s.Sensors[i], scatter, silence))
	}
	return r
}

func instrument(s *status.Status, c *status.Sensor, scatter [frame.Count]float64, silence time.Duration) Instrument {
	in := Instrument{
		Name: c.Name, Chip: c.Chip, Bus: c.Bus, Serial: c.Serial, Former: c.Former,
		Up: c.Up && silence == 0, LastGood: known(c.LastGood), Took: c.Took.Seconds(), Samples: c.Samples,
		Faults: counts(c.Faults), Raw: c.Raw.String(), ColdJunction: c.ColdJunction,
		Spikes: c.Path.Spikes, Frozen: c.Path.Frozen, Jumps: c.Path.Jumps, Lag: c.LagClamps,
		Calibration: c.Calibration, Refused: c.Refused, Readings: []Reading{},
	}
	if c.Address != 0 {
		in.Address = fmt.Sprintf("0x%02x", c.Address)
	}
	if !c.LastGood.IsZero() {
		age := max(s.Wall.Sub(c.LastGood)+silence, 0).Seconds()
		in.Age = &age
	}
	if f := c.Fault; f != nil {
		info := f.Code.Info()
		in.Fault = &Fault{string(f.Code), string(info.Part), info.Title, f.Detail, f.Hint()}
	}
	for _, ch := range c.Channels {
		in.Readings = append(in.Readings, reading(s, ch, scatter[ch], silence))
	}
	return in
}

func reading(s *status.Status, c frame.Channel, scatter float64, silence time.Duration) Reading {
	in := s.Frame.Inputs[c]
	if silence > 0 && in.Usable() {
		in = frame.Input{Quality: frame.Stale}
	}
	r := Reading{Channel: c.String(), Unit: "celsius", Quality: in.Quality.String(), Taken: known(s.Taken[c])}
	if c.Pressure() {
		r.Unit = "pascals"
	}
	if verdict.Readable(in) {
		r.Value = &in.Value
	}
	if info := sensors.Code(in.Fault).Info(); in.Fault != "" {
		r.Why, r.Hint = cmp.Or(info.Title, in.Fault), info.Hint
	}
	if !math.IsNaN(scatter) && !math.IsInf(scatter, 0) {
		r.Scatter = &scatter
	}
	return r
}

func counts(faults map[sensors.Code]uint64) []FaultCount {
	all := []FaultCount{}
	for code, n := range faults {
		info := code.Info()
		all = append(all, FaultCount{string(code), string(info.Part), cmp.Or(info.Title, string(code)), info.Hint, n})
	}
	slices.SortFunc(all, func(a, b FaultCount) int { return cmp.Or(cmp.Compare(b.Count, a.Count), cmp.Compare(a.Code, b.Code)) })
	return all
}

// known is nil for the zero time.
func known(t time.Time) *time.Time {
	if t.IsZero() {
		return nil
	}
	t = t.UTC()
	return &t
}
