package flueway

import (
	"math"

	"fluewright/analysis/drive"
)

// heap is what one burn showed, bin by bin; unlike a drive.Curve it forgets nothing.
type heap [drive.Bins]bin

type bin struct{ Weight, Drive, Draft float64 } // s, Pa/m, Pa

func (h *heap) add(m drive.Minute) {
	i := drive.Bin(m.Drive)
	if i < 0 {
		return
	}
	b := &h[i]
	b.Weight += m.Weight
	w := m.Weight / b.Weight
	b.Drive += float64(w * (m.Drive - b.Drive))
	b.Draft += float64(w * (m.Draft - b.Draft))
}

// hottest returns the largest drive that was there long enough, 0 if none was.
func (h *heap) hottest() float64 {
	for i := len(h) - 1; i >= 0; i-- {
		if h[i].Weight >= enough {
			return h[i].Drive
		}
	}
	return 0
}

// enough is how long a bin must have been there to count, s; heavy bounds the say of one.
const (
	enough = 180.0
	heavy  = 1800.0
)

func (b bin) counts(from, to float64) bool {
	return b.Weight >= enough && b.Drive >= from && b.Drive <= to
}

// Compared is a burn held against a baseline.
type Compared struct {
	Loss    float64 // share of the baseline's draft that is missing at an equal drive
	Spread  float64 // standard deviation of the baseline's own burns, as a share
	Pascals float64 // that are missing
	Bins    int     // that both have
	Seconds float64 // of the burn that it rests on
}

// against compares, bin by bin, between two drives in Pa/m; false where the two have too
// little in common.
func (h *heap) against(b *Baseline, from, to float64) (Compared, bool) {
	var c Compared
	var spread, weights float64
	for i := range h {
		p, r := h[i], b.Bins[i]
		if !p.counts(from, to) || r.Burns < usable || r.Draft < leastDraft {
			continue
		}
		w := min(p.Weight, heavy)
		weights += w
		c.Seconds += p.Weight
		c.Bins++
		off := r.Draft - p.Draft
		c.Pascals += float64(w / weights * (off - c.Pascals))
		c.Loss += float64(w / weights * (off/r.Draft - c.Loss))
		variance := r.Square / float64(r.Burns-1) / float64(r.Draft*r.Draft)
		spread += float64(w / weights * (variance - spread))
	}
	c.Spread = math.Sqrt(max(0, spread))
	return c, c.Bins >= 2 && c.Seconds >= 600
}

const leastDraft = 2.0 // Pa of a baseline of which a share means something
