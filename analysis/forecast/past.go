package forecast

import "math"

// Bands of the way from the room to the limit in which the slopes of rises are compared,
// the first one from firstBand on.
const (
	bands     = 10
	firstBand = 0.5
)

// rises are remembered, the latest ones.
const rises = 8

// Rise is what is remembered of one: how steep it was in each band, in K/s to the
// thousandth, and whether it passed the limit.
type Rise struct {
	Slopes  [bands]float64 `json:"slopes"`
	Crossed bool           `json:"crossed"`
}

// Memory is what outlives a restart: the latest rises, the next one to be overwritten at
// Next.
type Memory struct {
	Rises [rises]Rise `json:"rises"`
	Next  int         `json:"next"`
}

// sane reports whether such rises can have been.
func (m *Memory) sane() bool {
	for i := range m.Rises {
		for _, v := range m.Rises[i].Slopes {
			if !(v >= 0) || math.IsInf(v, 0) {
				return false
			}
		}
	}
	return m.Next >= 0 && m.Next < rises
}

// past is what this furnace's rises came to.
type past struct {
	memory Memory
	now    Rise
}

func band(share float64) int {
	if !(share >= firstBand) {
		return -1
	}
	return int(min(bands-1, (share-firstBand)/(1-firstBand)*bands))
}

// step takes the slope at a share of the way.
func (p *past) step(share, slope float64) {
	if i := band(share); i >= 0 {
		p.now.Slopes[i] = max(p.now.Slopes[i], slope)
	}
}

// end takes the rise in hand for over.
func (p *past) end(harmless, crossed bool) {
	if m := &p.memory; p.now != (Rise{}) && (harmless || crossed) {
		for i, v := range p.now.Slopes {
			p.now.Slopes[i] = math.Round(v*1e3) / 1e3
		}
		p.now.Crossed = crossed
		m.Rises[m.Next] = p.now
		m.Next = (m.Next + 1) % rises
	}
	p.now = Rise{}
}

// How rises count: one is alike up to so many times its slope, and a harmless one weighs
// so many times a crossing (judgement, moved on nights made for tuning).
const (
	alike  = 1.3
	weighs = 3.0
)

// believes returns the probability that a rise of this slope passes the limit, after what
// came of those that were here as steep. Of a rise beyond all of them nothing is known, and
// the probability stays what it is. sway, 0 to 1, is how much the past has to say.
func (p *past) believes(probability, share, slope, sway float64) float64 {
	i := band(share)
	if i < 0 || sway <= 0 {
		return probability
	}
	harmless, crossed := 0.0, 0.0
	for r := range p.memory.Rises {
		rise := &p.memory.Rises[r]
		switch s := rise.Slopes[i]; {
		case s <= 0:
		case rise.Crossed && s <= float64(alike*slope):
			crossed += sway
		case !rise.Crossed && float64(alike*s) >= slope:
			harmless += sway
		}
	}
	odds := min(1, (1+crossed)/(1+float64(weighs*harmless)))
	return float64(probability*odds) / (float64(probability*odds) + 1 - probability)
}
