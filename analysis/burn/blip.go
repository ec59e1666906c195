package burn

import (
	"math"
	"time"

	"fluewright/analysis/frame"
)

// blipGap is the longest time between readings over which one is held against its
// neighbours: what changes more slowly than that is news and no blip.
const blipGap = 10 * time.Second

// blips takes out single readings that are far off: of three, the middle one. It costs a
// frame of delay at a turning point and nothing else.
type blips struct {
	one, two frame.Values // the one before, and the one before that
	seen     bool
}

// step replaces the values by what is judged by.
func (b *blips) step(dt time.Duration, v *frame.Values) {
	if !b.seen || dt > blipGap {
		b.one, b.two, b.seen = *v, *v, true
		return
	}
	for c, x := range v {
		y, z := b.one[c], b.two[c]
		if dt > 0 {
			b.one[c], b.two[c] = x, y
		}
		if m := max(min(x, y), min(max(x, y), z)); !math.IsNaN(m) {
			v[c] = m
		}
	}
}
