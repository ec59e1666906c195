package now

import (
	"math"
	"strings"
	"time"

	"fluewright/analysis/frame"
	"fluewright/daemon/internal/status"
	"fluewright/daemon/internal/verdict"
	"fluewright/sensors"
)

var channelNames = [frame.Count]string{
	frame.Firebox: "Firebox", frame.Chamber: "Gasification chamber", frame.Flue: "Flue gas", frame.Plenum: "Warm-air supply",
	frame.Return: "Return air", frame.Room: "Room", frame.Outdoor: "Outdoors", frame.Draft: "Draft at this moment", frame.Ambient: "Air pressure",
}

// gauged are the channels that are shown large.
var gauged = []frame.Channel{frame.Firebox, frame.Chamber, frame.Flue, frame.Plenum}

type readingView struct {
	Name    string
	Value   string // empty without a usable reading
	State   string // empty if there is nothing to say
	Missing bool
	Doubt   bool
	Over    bool // above its limit
	Limit   string
	Gauge   *gauge
}

// gauge holds the x positions of a reading against its limit, in 360 units of width: the
// limit stands at four fifths.
type gauge struct {
	Value  float64
	Beyond bool // the reading is off the scale
}

const limitAt = 288.0

// gaugeOf places a temperature on a scale from 0 °C.
func gaugeOf(v, limit float64) *gauge {
	x := v / limit * limitAt
	return &gauge{Value: min(max(x, 0), 360), Beyond: x > 360}
}

// limit is the temperature that a channel should not pass, °C; 0 where there is none.
func (p *Page) limit(s *status.Status, c frame.Channel) float64 {
	limit := p.o.Limits[c]
	if c == frame.Plenum {
		limit = s.Assessment.Plenum.Limit
	}
	if !(limit > 0) || math.IsInf(limit, 0) {
		return 0
	}
	return limit
}

func (p *Page) reading(s *status.Status, c frame.Channel, silence time.Duration) readingView {
	r := readingView{Name: channelNames[c]}
	in := s.Frame.Inputs[c]
	age := s.Wall.Sub(s.Taken[c]) + silence
	if silence > 0 && in.Usable() {
		in = frame.Input{Quality: frame.Stale}
	}
	limit := p.limit(s, c)
	if limit != 0 {
		r.Limit = p.o.Units.Temperature(limit)
	}
	if !verdict.Readable(in) {
		r.Missing, r.State = true, missing(in)
		if !s.Taken[c].IsZero() {
			r.State += "; last read " + verdict.Ago(age) + " ago"
		}
		return r
	}
	r.Value = p.quantity(c, in.Value)
	if limit != 0 {
		r.Gauge, r.Over = gaugeOf(in.Value, limit), in.Value > limit
	}
	if age >= 3*time.Second {
		r.State = verdict.Ago(age) + " ago"
	}
	if in.Quality == frame.Suspect {
		r.Doubt = true
		r.State = strings.TrimPrefix(r.State+", doubtful", ", ")
		if title := sensors.Code(in.Fault).Info().Title; title != "" {
			r.State += ": " + title
		}
	}
	return r
}

func (p *Page) quantity(c frame.Channel, v float64) string {
	switch c {
	case frame.Draft:
		return p.o.Units.Pressure(v)
	case frame.Ambient:
		return p.o.Units.AbsolutePressure(v)
	default:
		return p.o.Units.Temperature(v)
	}
}

// missing says why there is no reading.
func missing(in frame.Input) string {
	switch in.Quality {
	case frame.Faulty:
		if title := sensors.Code(in.Fault).Info().Title; title != "" {
			return title
		}
		return "sensor at fault"
	case frame.Stale:
		return "too old"
	case frame.Absent:
		return "not read yet"
	default:
		return "not a number"
	}
}
