package timeline

const (
	// slack is by how much trusted clocks may contradict each other and be believed: a leap
	// second, a correction by the time service.
	slack = 5000
	// lookBack bounds how many segments are tried before each.
	lookBack = 256
	// floor is before any run of this program: a clock that says less says nothing.
	floor = 1_577_836_800_000 // 2020-01-01
)

// Place lays segments out, given in the order in which they happened. What it returns is in
// the same order, rises, and does not overlap.
//
// Of the trusted segments it believes the longest chain in which time goes forward and
// which holds the last one: what is left out was an excursion of the clock. Whatever shares
// its clock with a believed segment is placed by it. A boot of the computer that was never
// synchronised goes where its clock says if that is between its neighbours, and otherwise
// behind the one before.
func Place(segments []Segment) []Placed {
	placed := make([]Placed, len(segments))
	for i, s := range segments {
		placed[i] = Placed{Segment: s, Wall: s.Seen, Rate: 1}
	}
	believe(placed)
	for i := 0; i < len(placed); {
		n := i + 1
		for n < len(placed) && placed[n].shares(&placed[i].Segment) {
			n++
		}
		tie(placed[i:n], placed[:i], placed[n:])
		i = n
	}
	settle(placed)
	return placed
}

// believe marks the chain as sure.
func believe(p []Placed) {
	weight := make([]int64, len(p))
	before := make([]int, len(p))
	last := -1
	for j := range p {
		before[j] = -1
		if !p[j].Trusted {
			continue
		}
		last = j
		best := int64(0)
		for i, tried := j-1, 0; i >= 0 && tried < lookBack; i-- {
			if !p[i].Trusted {
				continue
			}
			tried++
			if weight[i] > best && p[i].ahead(p[j].Seen) <= p[i].give() {
				best, before[j] = weight[i], i
			}
		}
		weight[j] = best + p[j].length() + 1
	}
	for ; last >= 0; last = before[last] {
		p[last].Sure = true
	}
}

// ahead is by how much the segment's end is past wall.
func (p *Placed) ahead(wall int64) int64 { return p.End() - wall }

// give is how much shorter the segment may be than its clock counted.
func (p *Placed) give() int64 { return min(slack, p.length()/10) }

// tie places what shares one clock: by what is sure in it, else by its own guess.
func tie(group, before, after []Placed) {
	anchors := make([]int, 0, len(group))
	for i := range group {
		if group[i].Sure {
			anchors = append(anchors, i)
		}
	}
	if len(anchors) == 0 {
		guess(group, before, after)
		return
	}
	// By the next anchor, because a clock that was put right has been wrong before; behind
	// the last by the last.
	for i, next := 0, 0; i < len(group); i++ {
		if group[i].Sure {
			next = min(next+1, len(anchors)-1)
			continue
		}
		group[i].follow(&group[anchors[next]])
	}
	for i := range group {
		group[i].Sure = true
	}
}

// follow places p by an anchor on the same clock.
func (p *Placed) follow(anchor *Placed) {
	apart := p.From - anchor.From
	if p.Run != anchor.Run {
		apart += p.Uptime - anchor.Uptime
	}
	p.Wall = anchor.Wall + apart
}

// guess places a boot that was never synchronised, by what its clock said last.
func guess(group, before, after []Placed) {
	anchor := 0
	for i := range group {
		if group[i].Seen >= floor {
			anchor = i
		}
	}
	known := group[anchor].Seen >= floor
	for i := range group {
		if i != anchor {
			group[i].follow(&group[anchor])
		}
	}
	move := int64(0)
	for i := range after {
		if end := group[len(group)-1].End(); after[i].Sure {
			if end > after[i].Wall || !known {
				move = after[i].Wall - end
			}
			break
		}
	}
	if len(before) > 0 {
		start := before[len(before)-1].End()
		if group[0].Wall+move < start || !known {
			move = start - group[0].Wall
		}
	}
	for i := range group {
		group[i].Wall += move
	}
}

// settle takes away what still overlaps, from the newest back: a sure segment that is a
// little long was counted by a clock that ran ahead, everything else moves back.
func settle(p []Placed) {
	for i := len(p) - 2; i >= 0; i-- {
		over := p[i].ahead(p[i+1].Wall)
		switch {
		case over <= 0:
		case p[i].Sure && p[i+1].Sure && over <= p[i].give():
			p[i].Rate = float64(p[i].length()-over) / float64(p[i].length())
		default:
			p[i].Wall -= over
		}
	}
}
