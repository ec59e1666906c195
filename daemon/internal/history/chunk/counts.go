package chunk

import (
	"encoding/binary"
	"math"
	"math/bits"
)

const (
	blockLen  = 200
	plainLen  = 64 // in the plain format
	kBits     = 5
	allSame   = 31 // instead of k
	maxK      = 30
	longQuot  = 24 // ones before a number that is written whole
	wholeBits = 48
)

func zigzag(d int64) uint64   { return uint64(d)<<1 ^ uint64(d>>63) }
func unzigzag(z uint64) int64 { return int64(z>>1) ^ -int64(z&1) }

// appendCounts writes counts in the newest format.
func appendCounts(dst []byte, samples []Sample) []byte {
	first, last, some, divisor := int64(0), int64(0), false, uint64(0)
	for _, s := range samples {
		switch {
		case !s.Usable():
			continue
		case !some:
			dst = binary.AppendVarint(dst, s.Count)
			first, some = s.Count, true
		default:
			divisor = gcd(divisor, distance(s.Count, last))
		}
		last = s.Count
	}
	if !some {
		return dst
	}
	dst = binary.AppendUvarint(dst, divisor)
	if divisor == 0 {
		return dst
	}
	w := writer{b: dst}
	var p past
	var blocks [guesses][blockLen]uint64
	n := 0
	some = false
	for _, s := range samples {
		if !s.Usable() {
			continue
		}
		if !some {
			some = true
			continue
		}
		y := (s.Count - first) / int64(divisor)
		for g := range blocks {
			blocks[g][n] = zigzag(y - p.guess(uint64(g)))
		}
		p.add(y)
		if n++; n == blockLen {
			w.best(&blocks, n)
			n = 0
		}
	}
	w.best(&blocks, n)
	return w.close()
}

func distance(a, b int64) uint64 {
	if a < b {
		a, b = b, a
	}
	return uint64(a - b)
}

func gcd(a, b uint64) uint64 {
	for b != 0 {
		a, b = b, a%b
	}
	return a
}

// writer appends bits, the first in the highest place.
type writer struct {
	b    []byte
	acc  uint64
	used uint
}

func (w *writer) bits(v uint64, n uint) {
	for n > 0 {
		take := min(n, 64-w.used)
		w.acc |= v << (64 - n) >> w.used
		w.used += take
		n -= take
		if w.used == 64 {
			w.b = binary.BigEndian.AppendUint64(w.b, w.acc)
			w.acc, w.used = 0, 0
		}
	}
}

func (w *writer) close() []byte {
	for ; w.used > 0; w.used -= min(w.used, 8) {
		w.b = append(w.b, byte(w.acc>>56))
		w.acc <<= 8
	}
	return w.b
}

// best writes a block of n with the guess that makes it shortest.
func (w *writer) best(blocks *[guesses][blockLen]uint64, n int) {
	if n == 0 {
		return
	}
	which, least := 0, uint64(math.MaxUint64)
	for g := range blocks {
		z := blocks[g][:n]
		k, same := bestK(z)
		if same {
			which = g
			break
		}
		if c := cost(z, k); c < least {
			which, least = g, c
		}
	}
	w.bits(uint64(which), guessBits)
	w.block(blocks[which][:n])
}

func (w *writer) block(z []uint64) {
	k, same := bestK(z)
	if same {
		w.bits(allSame, kBits)
		return
	}
	w.bits(uint64(k), kBits)
	for _, v := range z {
		if q := v >> k; q < longQuot {
			w.bits(1<<(q+1)-2, uint(q)+1)
			w.bits(v, k)
		} else {
			w.bits(1<<longQuot-1, longQuot)
			w.bits(v, wholeBits)
		}
	}
}

// bestK is the parameter that makes the block shortest. The cost falls and then rises with
// k, so looking stops where it rises.
func bestK(z []uint64) (k uint, same bool) {
	var sum uint64
	for _, v := range z {
		sum += v
	}
	if sum == 0 {
		return 0, true
	}
	// The quotients' mean is near one at the best k.
	k = uint(max(bits.Len64(sum/uint64(len(z)))-2, 0))
	k = min(k, maxK)
	best := cost(z, k)
	for k < maxK {
		c := cost(z, k+1)
		if c > best {
			break
		}
		best = c
		k++
	}
	return k, false
}

func cost(z []uint64, k uint) uint64 {
	c := uint64(0)
	for _, v := range z {
		if q := v >> k; q < longQuot {
			c += q + 1 + uint64(k)
		} else {
			c += longQuot + wholeBits
		}
	}
	return c
}

func (r *reader) counts(all []Sample) {
	first := -1
	for i := range all {
		if all[i].Usable() {
			first = i
			break
		}
	}
	if first < 0 || r.bad {
		return
	}
	last := r.varint()
	divisor := int64(r.uvarint(2 * MaxCount))
	if last > MaxCount || last < -MaxCount {
		r.bad = true
	}
	if r.bad {
		return
	}
	in := bitReader{b: r.b}
	start, most := last, int64(0)
	if divisor > 0 {
		most = 2 * MaxCount / divisor
	}
	length := blockLen
	if r.plain {
		length = plainLen
	}
	var p past
	n, k, g := 0, uint(0), uint64(0)
	for i := first; i < len(all); i++ {
		if !all[i].Usable() {
			continue
		}
		if i > first && divisor > 0 {
			if n%length == 0 {
				if !r.plain {
					g = in.bits(guessBits)
				}
				k = uint(in.bits(kBits))
			}
			n++
			y := p.guess(g)
			if k != allSame {
				y += unzigzag(in.rice(k))
			}
			if y > most || y < -most {
				r.bad = true
				return
			}
			p.add(y)
			last = start + y*divisor
			if in.bad || last > MaxCount || last < -MaxCount {
				r.bad = true
				return
			}
		}
		all[i].Count = last
	}
	r.b = r.b[in.bytes():]
}

// bitReader reads what writer has written.
type bitReader struct {
	b    []byte
	next int // the byte that comes after acc
	acc  uint64
	have uint // bits in acc, from the top
	bad  bool
}

func (r *bitReader) fill() {
	for r.have <= 56 && r.next < len(r.b) {
		r.acc |= uint64(r.b[r.next]) << (56 - r.have)
		r.next++
		r.have += 8
	}
}

// bits reads up to wholeBits bits.
func (r *bitReader) bits(n uint) uint64 {
	if r.have < n {
		if r.fill(); r.have < n {
			r.bad = true
			return 0
		}
	}
	v := r.acc >> (64 - n)
	r.acc <<= n
	r.have -= n
	return v
}

func (r *bitReader) rice(k uint) uint64 {
	r.fill()
	q := uint(bits.LeadingZeros64(^r.acc))
	if q >= longQuot {
		r.bits(longQuot)
		return r.bits(wholeBits)
	}
	r.bits(q + 1)
	return uint64(q)<<k | r.bits(k)
}

// bytes is how many bytes were begun.
func (r *bitReader) bytes() int { return r.next - int(r.have/8) }
