package chunk

import (
	"encoding/binary"
	"errors"
	"fmt"
	"hash/crc32"

	"fluewright/analysis/frame"
)

// What a chunk can hold.
const (
	MaxSamples = 1 << 16
	MaxAt      = 1 << 40 // ms
	MaxCount   = 1 << 40
)

// The formats: Append writes the newest, Decode reads all.
const (
	formatPlain = 1
	format      = 2
)

// ErrDamaged is returned for bytes that are no chunk, or no longer one.
var ErrDamaged = errors.New("damaged chunk")

var castagnoli = crc32.MakeTable(crc32.Castagnoli)

// Sample is one reading. Count means something only where the quality is usable.
type Sample struct {
	At      int64 // ms from the chunk's start
	Count   int64
	Quality frame.Quality
}

// Usable reports whether there is a count.
func (s Sample) Usable() bool { return s.Quality >= frame.Suspect }

// Append packs samples behind dst. Their times must rise and be at most MaxAt.
func Append(dst []byte, samples []Sample) ([]byte, error) {
	if err := check(samples); err != nil {
		return dst, err
	}
	start := len(dst)
	dst = append(dst, format)
	dst = binary.AppendUvarint(dst, uint64(len(samples)))
	if len(samples) > 0 {
		dst = appendTimes(dst, samples)
		dst = appendQualities(dst, samples)
		dst = appendCounts(dst, samples)
	}
	return binary.LittleEndian.AppendUint32(dst, crc32.Checksum(dst[start:], castagnoli)), nil
}

func check(samples []Sample) error {
	if len(samples) > MaxSamples {
		return fmt.Errorf("pack %d samples: at most %d", len(samples), MaxSamples)
	}
	last := int64(-1)
	for _, s := range samples {
		switch {
		case s.At <= last || s.At > MaxAt:
			return fmt.Errorf("pack sample at %d ms after one at %d ms", s.At, last)
		case s.Usable() && (s.Count > MaxCount || s.Count < -MaxCount):
			return fmt.Errorf("pack count %d: out of range", s.Count)
		case s.Quality > frame.Good:
			return fmt.Errorf("pack quality %d: there is none", s.Quality)
		}
		last = s.At
	}
	return nil
}

func appendTimes(dst []byte, samples []Sample) []byte {
	step, others := usualStep(samples)
	dst = binary.AppendUvarint(dst, uint64(samples[0].At))
	dst = binary.AppendUvarint(dst, uint64(step))
	dst = binary.AppendUvarint(dst, uint64(others))
	last := 0
	for i := 1; i < len(samples); i++ {
		if d := samples[i].At - samples[i-1].At - step; d != 0 {
			dst = binary.AppendUvarint(dst, uint64(i-last))
			dst = binary.AppendVarint(dst, d)
			last = i
		}
	}
	return dst
}

// usualStep finds the step that most samples are apart, if there is one, and how many are
// not that far apart.
func usualStep(samples []Sample) (step int64, others int) {
	votes := 0
	for i := 1; i < len(samples); i++ {
		switch d := samples[i].At - samples[i-1].At; {
		case votes == 0:
			step, votes = d, 1
		case d == step:
			votes++
		default:
			votes--
		}
	}
	for i := 1; i < len(samples); i++ {
		if samples[i].At-samples[i-1].At != step {
			others++
		}
	}
	return step, others
}

func appendQualities(dst []byte, samples []Sample) []byte {
	runs := 0
	for i := range samples {
		if i == 0 || samples[i].Quality != samples[i-1].Quality {
			runs++
		}
	}
	dst = binary.AppendUvarint(dst, uint64(runs))
	for i := 0; i < len(samples); {
		n := 1
		for i+n < len(samples) && samples[i+n].Quality == samples[i].Quality {
			n++
		}
		dst = binary.AppendUvarint(dst, uint64(n)<<3|uint64(samples[i].Quality))
		i += n
	}
	return dst
}

// Decode appends the samples of a chunk to dst. Whatever b is, it takes no more memory than
// MaxSamples do.
func Decode(dst []Sample, b []byte) ([]Sample, error) {
	if len(b) < 6 || crc32.Checksum(b[:len(b)-4], castagnoli) != binary.LittleEndian.Uint32(b[len(b)-4:]) {
		return dst, fmt.Errorf("%w: checksum", ErrDamaged)
	}
	if b[0] != format && b[0] != formatPlain {
		return dst, fmt.Errorf("%w: format %d", ErrDamaged, b[0])
	}
	start := len(dst)
	r := reader{b: b[1 : len(b)-4], plain: b[0] == formatPlain}
	dst = r.samples(dst)
	if r.bad || len(r.b) > 0 {
		return dst[:start], fmt.Errorf("%w: contents", ErrDamaged)
	}
	return dst, nil
}

// reader takes values off b; bad is set once something is not as Append writes it.
type reader struct {
	b     []byte
	plain bool // all differences are from the count before
	bad   bool
}

func (r *reader) uvarint(limit uint64) uint64 {
	v, n := binary.Uvarint(r.b)
	if n <= 0 || v > limit {
		r.bad = true
		return 0
	}
	r.b = r.b[n:]
	return v
}

func (r *reader) varint() int64 {
	v, n := binary.Varint(r.b)
	if n <= 0 {
		r.bad = true
		return 0
	}
	r.b = r.b[n:]
	return v
}

func (r *reader) samples(dst []Sample) []Sample {
	n := int(r.uvarint(MaxSamples))
	if n == 0 || r.bad {
		return dst
	}
	start := len(dst)
	dst = append(dst, make([]Sample, n)...)
	all := dst[start:]
	r.times(all)
	r.qualities(all)
	r.counts(all)
	return dst
}

func (r *reader) times(all []Sample) {
	all[0].At = int64(r.uvarint(MaxAt))
	step := int64(r.uvarint(MaxAt))
	others := r.uvarint(uint64(len(all)) - 1)
	next, extra, last := 0, int64(0), 0
	for i := 1; i < len(all) && !r.bad; i++ {
		if i > next && others > 0 {
			others--
			next = last + int(r.uvarint(uint64(len(all)-1-last)))
			last, extra = next, r.varint()
			if next < i || extra > MaxAt || extra < -MaxAt {
				r.bad = true
			}
		}
		d := step
		if i == next {
			d += extra
		}
		all[i].At = all[i-1].At + d
		if d <= 0 || all[i].At > MaxAt {
			r.bad = true
		}
	}
	r.bad = r.bad || others > 0
}

func (r *reader) qualities(all []Sample) {
	i := 0
	for runs := r.uvarint(uint64(len(all))); runs > 0 && !r.bad; runs-- {
		v := r.uvarint(MaxSamples<<3 | 7)
		n, q := int(v>>3), frame.Quality(v&7)
		if n == 0 || n > len(all)-i || q > frame.Good {
			r.bad = true
			return
		}
		for range n {
			all[i].Quality = q
			i++
		}
	}
	r.bad = r.bad || i != len(all)
}
