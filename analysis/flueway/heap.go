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

// What counts of a burn: bins that were there for a while, in the upper part of its
// drives, where the chimney carries the fire's full flow. heavy bounds the say of one bin.
const (
	enough = 180.0 // s
	upper  = 0.55
	heavy  = 1800.0 // s
)

func (b bin) counts(hottest float64) bool {
	return b.Weight >= enough && b.Drive >= float64(upper*hottest)
}

// Compared is a burn held against a baseline.
type Compared struct {
	Loss    float64 // share of the baseline's draft that is missing at an equal drive
	Spread  float64 // standard deviation of the baseline's own burns, as a share
	Pascals float64 // that are missing
	Bins    int     // that both have
	Seconds float64 // of the burn that it rests on
}

// against compares, bin by bin; false where the two have too little in common.
func (h *heap) against(b *Baseline) (Compared, bool) {
	var c Compared
	var spread, weights float64
	hot := h.hottest()
	for i := range h {
		p, r := h[i], b.Bins[i]
		if !p.counts(hot) || r.Burns < usable || r.Draft < leastDraft {
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
