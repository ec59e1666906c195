package forecast

import "math"

// Bands of the way from the room to the limit in which the slopes of rises are compared.
// Nearer to the limit than the last one, nothing that went well before argues a rise away.
const (
	bands             = 9
	lowest, uppermost = 0.5, 0.95
)

// passes are remembered of each band, the latest ones: fires flicker, and what a hundred small
// rises came to must not push out what a steep one did.
const passes = 8

// worth is the probability of passing the limit from which on a rise is remembered.
const worth = 0.1

// Pass is what is remembered of a rise in one band: how steep it was at most while it looked
// as if it might pass the limit, in K/s to the thousandth, and whether it did.
type Pass struct {
	Slope   float64 `json:"slope"`
	Crossed bool    `json:"crossed,omitempty"`
}

// Memory is what outlives a restart: the latest passes of each band, and which of them is the
// oldest.
type Memory struct {
	Passes [bands][passes]Pass `json:"passes"`
	Oldest [bands]int          `json:"oldest"`
}

// sane reports whether such rises can have been.
func (m *Memory) sane() bool {
	for i := range m.Passes {
		for _, p := range m.Passes[i] {
			if !(p.Slope >= 0) || math.IsInf(p.Slope, 0) {
				return false
			}
		}
		if m.Oldest[i] < 0 || m.Oldest[i] >= passes {
			return false
		}
	}
	return true
}

// past is what this furnace's rises came to.
type past struct {
	memory Memory
	now    [bands]float64 // steepest slopes of the rise in hand that are worth remembering
}

func band(share float64) int {
	if !(share >= lowest && share < uppermost) {
		return -1
	}
	return min(bands-1, int((share-lowest)/(uppermost-lowest)*bands))
}

// sees takes the slope at a share of the way, and the probability of passing the limit that
// it would have without a past.
func (p *past) sees(probability, share, slope float64) {
	if i := band(share); i >= 0 && probability >= worth {
		p.now[i] = max(p.now[i], slope)
	}
}

// end takes the rise in hand for over.
func (p *past) end(harmless, crossed bool) {
	for i, v := range p.now {
		if m := &p.memory; v > 0 && (harmless || crossed) {
			m.Passes[i][m.Oldest[i]] = Pass{Slope: math.Round(v*1e3) / 1e3, Crossed: crossed}
			m.Oldest[i] = (m.Oldest[i] + 1) % passes
		}
	}
	p.now = [bands]float64{}
}

// How rises count: one is alike up to so many times its slope, and a harmless one weighs
// so many times a crossing (judgement, moved on nights made for tuning).
const (
	alike  = 1.3
	weighs = 2.0
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
	for _, pass := range p.memory.Passes[i] {
		switch s := pass.Slope; {
		case s <= 0:
		case pass.Crossed && s <= float64(alike*slope):
			crossed += sway
		case !pass.Crossed && float64(alike*s) >= slope:
			harmless += sway
		}
	}
	odds := min(1, (1+crossed)/(1+float64(weighs*harmless)))
	return float64(probability*odds) / (float64(probability*odds) + 1 - probability)
}
