package drive

import (
	"math"
	"time"

	"fluewright/analysis/portable"
)

// The bins: their number, the lowest drive in Pa/m and the ratio from one to the next.
// At 0 °C outdoors they go from a flue of 24 °C to more than any drive there is.
const (
	Bins  = 32
	least = 1.0
	ratio = 1.09
)

var perBin = 1 / portable.Log(ratio)

// Bin returns the bin of a drive in Pa/m, -1 for one that is too small to tell anything.
func Bin(drive float64) int {
	if !(drive >= least) {
		return -1
	}
	return min(Bins-1, int(float64(portable.Log(drive/least)*perBin)))
}

// Point is what was seen in one bin.
type Point struct {
	At     time.Duration // when last
	Weight float64       // s
	Drive  float64       // Pa/m, mean
	Draft  float64       // Pa, mean
}

// Reach returns draft over drive, m: the height of a lossless column at the flue's
// temperature that would draw as much.
func (p Point) Reach() float64 {
	if p.Drive <= 0 {
		return 0
	}
	return p.Draft / p.Drive
}

// Curve is the draft against the drive, as seen lately.
type Curve struct {
	Points [Bins]Point
	now    time.Duration
}

// memory is the time in s over which a bin averages, so that what changes shows; fresh is
// how old a bin may be to say how things are; enough the time in s that it must rest on.
const (
	memory = 900.0
	fresh  = 3 * time.Hour
	enough = 60.0
	// outlier bounds what one minute may move, in Pa and as a share: a door that nobody
	// noticed, a squall.
	outlier, outlierShare = 3.0, 0.4
)

// Add takes a minute.
func (c *Curve) Add(m Minute) {
	i := Bin(m.Drive)
	c.now = m.At
	if i < 0 {
		return
	}
	p := &c.Points[i]
	if p.Weight > 0 && m.At-p.At > fresh {
		*p = Point{}
	}
	p.Weight = min(p.Weight+m.Weight, memory)
	w := m.Weight / p.Weight
	step := m.Draft - p.Draft
	if p.At > 0 && p.Weight > enough {
		bound := max(outlier, float64(outlierShare*math.Abs(p.Draft)))
		step = max(-bound, min(bound, step))
	}
	p.At = m.At
	p.Drive += float64(w * (m.Drive - p.Drive))
	p.Draft += float64(w * step)
}

// Seen returns the point of a bin, and whether it says how things are.
func (c *Curve) Seen(bin int) (Point, bool) {
	p := c.Points[bin]
	age := c.now - p.At
	return p, p.Weight >= enough && age >= 0 && age <= fresh
}

// Expect returns between which drafts in Pa the curve passes at a drive: the draft rises with
// the drive, and hardly faster. It needs a point anywhere.
func (c *Curve) Expect(drive float64) (least, most float64, ok bool) {
	i := Bin(drive)
	if i < 0 {
		return 0, 0, false
	}
	below, under := c.nearest(i, -1)
	above, over := c.nearest(i, 1)
	switch {
	case under && over:
		return min(below.Draft, above.Draft), max(below.Draft, above.Draft), true
	case under: // hotter than ever
		return below.Draft, max(below.Draft, float64(below.Draft*drive/below.Drive)), true
	case over:
		return min(above.Draft, float64(above.Draft*drive/above.Drive)), above.Draft, true
	}
	return 0, 0, false
}

// nearest returns the point at a bin, or the next one that was seen in a direction.
func (c *Curve) nearest(i, step int) (Point, bool) {
	for ; i >= 0 && i < Bins; i += step {
		if p, ok := c.Seen(i); ok {
			return p, true
		}
	}
	return Point{}, false
}

// Hottest returns the point with the largest drive; false if there is none.
func (c *Curve) Hottest() (Point, bool) {
	for i := Bins - 1; i >= 0; i-- {
		if p, ok := c.Seen(i); ok {
			return p, true
		}
	}
	return Point{}, false
}

// Reach returns the largest draft over drive among the points whose drive is at least a
// share of the hottest one's, m: at most that of the chimney with its gate shut. 0 if there
// is none. Over coals the column is hotter than the gas at the collar, and wind and weather
// that nobody measured weigh more, so that the lower half says less.
func (c *Curve) Reach(share float64) float64 {
	most := 0.0
	hot, _ := c.Hottest()
	for i := range c.Points {
		if p, ok := c.Seen(i); ok && p.Drive >= float64(share*hot.Drive) {
			most = max(most, p.Reach())
		}
	}
	return most
}
