package timeline_test

import (
	"testing"
	"time"

	"pgregory.net/rapid"

	"fluewright/daemon/internal/history/timeline"
)

var noon = time.Date(2026, 11, 25, 12, 0, 0, 0, time.UTC).UnixMilli()

const (
	second = int64(1000)
	minute = 60 * second
	hour   = 60 * minute
)

func TestPlace(t *testing.T) {
	tests := map[string]struct {
		segments []timeline.Segment
		want     []int64 // wall times of their beginnings
	}{
		"a clock that is right": {
			[]timeline.Segment{{Run: 1, To: hour, Seen: noon, Trusted: true}},
			[]int64{noon},
		},
		"a boot in 1970, synchronised after ten minutes": {
			[]timeline.Segment{
				{Run: 1, To: 10 * minute, Seen: 5000},
				{Run: 1, From: 10 * minute, To: hour, Seen: noon, Trusted: true},
			},
			[]int64{noon - 10*minute, noon},
		},
		"a step of the clock while it is trusted": {
			[]timeline.Segment{
				{Run: 1, To: hour, Seen: noon, Trusted: true},
				{Run: 1, From: hour, To: 2 * hour, Seen: noon + 2*hour, Trusted: true},
			},
			[]int64{noon, noon + 2*hour},
		},
		"a jump back that stays": {
			[]timeline.Segment{
				{Run: 1, To: hour, Seen: noon, Trusted: true},
				{Run: 1, From: hour, To: 2 * hour, Seen: noon, Trusted: true},
			},
			[]int64{noon - hour, noon},
		},
		"a jump back that was wrong": {
			[]timeline.Segment{
				{Run: 1, To: hour, Seen: noon, Trusted: true},
				{Run: 1, From: hour, To: hour + minute, Seen: noon - hour, Trusted: true},
				{Run: 1, From: hour + minute, To: 2 * hour, Seen: noon + hour + minute, Trusted: true},
			},
			[]int64{noon, noon + hour, noon + hour + minute},
		},
		"a step that nobody vouches for": {
			[]timeline.Segment{
				{Run: 1, To: hour, Seen: noon, Trusted: true},
				{Run: 1, From: hour, To: 2 * hour, Seen: noon + 9*hour},
			},
			[]int64{noon, noon + hour},
		},
		"runs of one boot, the second synchronised": {
			[]timeline.Segment{
				{Run: 1, Kernel: "k", Uptime: minute, To: minute, Seen: 60_000},
				{Run: 2, Kernel: "k", Uptime: 5 * minute, To: minute, Seen: 300_000},
				{Run: 2, Kernel: "k", Uptime: 5 * minute, From: minute, To: hour, Seen: noon, Trusted: true},
			},
			[]int64{noon - 5*minute, noon - minute, noon},
		},
		"a boot that was never synchronised is between its neighbours": {
			[]timeline.Segment{
				{Run: 1, To: hour, Seen: noon, Trusted: true},
				{Run: 2, To: hour, Seen: 0},
				{Run: 3, To: hour, Seen: noon + 9*hour, Trusted: true},
			},
			[]int64{noon, noon + hour, noon + 9*hour},
		},
		"its guess is taken if it can be": {
			[]timeline.Segment{
				{Run: 1, To: hour, Seen: noon, Trusted: true},
				{Run: 2, To: hour, Seen: noon + 3*hour},
				{Run: 3, To: hour, Seen: noon + 9*hour, Trusted: true},
			},
			[]int64{noon, noon + 3*hour, noon + 9*hour},
		},
		"a guess far ahead ends with the next boot": {
			[]timeline.Segment{
				{Run: 1, To: hour, Seen: noon, Trusted: true},
				{Run: 2, To: hour, Seen: noon + 1000*hour},
				{Run: 3, To: hour, Seen: noon + 9*hour, Trusted: true},
			},
			[]int64{noon, noon + 8*hour, noon + 9*hour},
		},
		"the first boot of all in 1970 comes before the next": {
			[]timeline.Segment{
				{Run: 1, To: hour, Seen: 0},
				{Run: 2, To: hour, Seen: noon, Trusted: true},
			},
			[]int64{noon - hour, noon},
		},
		"a short run in another year pushes nobody": {
			[]timeline.Segment{
				{Run: 1, To: 100 * hour, Seen: noon, Trusted: true},
				{Run: 2, To: minute, Seen: noon - 50_000*hour, Trusted: true},
				{Run: 3, To: hour, Seen: noon + 200*hour, Trusted: true},
			},
			[]int64{noon, noon + 100*hour, noon + 200*hour},
		},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			for i, p := range timeline.Place(tt.segments) {
				if p.Wall != tt.want[i] || p.Rate != 1 {
					t.Errorf("segment %d at %v (rate %g), want %v", i, time.UnixMilli(p.Wall).UTC(), p.Rate, time.UnixMilli(tt.want[i]).UTC())
				}
			}
		})
	}
}

// Runs of a second each, in one boot, every one synchronised but the last: what was seen of the
// clock is right to the millisecond, and errors must not add up over the runs.
func TestShortRuns(t *testing.T) {
	var segments []timeline.Segment
	for i := range int64(6) {
		start := noon + 2*i*second
		segments = append(segments, timeline.Segment{
			Run: i + 1, Kernel: "k", Uptime: 1 + 2*i*second,
			From: second, To: 2 * second, Seen: start + second, Trusted: i < 5,
		})
	}
	for i, p := range timeline.Place(segments) {
		if off := p.At(p.From) - segments[i].Seen; off > 2*second || off < -2*second {
			t.Errorf("run %d is off by %d ms: %+v", i+1, off, p)
		}
	}
}

// After a leap second the wall clock has shown one second twice. No two samples may.
func TestLeapSecond(t *testing.T) {
	p := timeline.Place([]timeline.Segment{
		{Run: 1, To: hour, Seen: noon, Trusted: true},
		{Run: 1, From: hour, To: 2 * hour, Seen: noon + hour - second, Trusted: true},
	})
	last := p[0].At(hour - second)
	if first := p[1].At(hour); last >= first {
		t.Errorf("%d ms, then %d ms", last, first)
	}
	if p[0].At(0) != noon || p[1].At(hour) != noon+hour-second {
		t.Error("the ends have moved")
	}
}

func TestWatch(t *testing.T) {
	type look struct {
		ms, wall int64
		trusted  bool
		begins   bool
	}
	tests := map[string][]look{
		"straight":        {{0, 5, false, true}, {1000, 1004, false, false}, {2000, 2005, false, false}},
		"synchronised":    {{0, 5, false, true}, {1000, noon, true, true}, {2000, noon + 1000, true, false}},
		"holds over":      {{0, noon, true, true}, {1000, noon + 1000, false, false}, {2000, noon + 2001, true, false}},
		"right by chance": {{0, noon, false, true}, {1000, noon + 1000, true, true}},
		"steps":           {{0, noon, true, true}, {1000, noon, true, true}, {2000, noon + 1000, true, false}},
		"drifts away":     {{0, noon, true, true}, {1000, noon + 1200, true, false}, {2000, noon + 2300, true, true}},
	}
	for name, looks := range tests {
		var w timeline.Watch
		for i, l := range looks {
			if got := w.Observe(l.ms, l.wall, l.trusted); got != l.begins {
				t.Errorf("%s, look %d: %v", name, i, got)
			}
		}
	}
}

func TestMadClockIsBounded(t *testing.T) {
	var w timeline.Watch
	n := 0
	for i := range int64(10_000) {
		if w.Observe(i*1000, i%7*hour, false) {
			n++
		}
	}
	if n > 600 {
		t.Errorf("%d segments", n)
	}
	if !w.Observe(1e8, noon, true) {
		t.Error("that it was synchronised at last is not noted")
	}
}

// A board as boards are: it is switched off for a while, the program restarts, its clock
// starts anywhere, is set, steps, and where it is trusted it is right, give or take a leap.
type board struct {
	truth  int64 // real time
	run    int64
	kernel int
	booted int64
}

type took struct {
	segment    int
	ms, truth  int64
	synced     bool // its boot was synchronised at some time
	kernelBoot int
}

// What a board records never overlaps, keeps its order, and where its boot was ever
// synchronised it is where it belongs, whatever its clock did.
func TestAnyClock(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		b := board{truth: noon}
		var segments []timeline.Segment
		var samples []took
		synced := map[int]bool{}
		for range rapid.IntRange(1, 8).Draw(t, "runs") {
			b.run++
			b.truth += rapid.Int64Range(second, 100*hour).Draw(t, "off")
			if b.kernel == 0 || rapid.Bool().Draw(t, "reboots") {
				b.kernel++
				b.booted = b.truth - rapid.Int64Range(1, minute).Draw(t, "boots for")
			}
			start, leap := b.truth, int64(0)
			wrong := rapid.SampledFrom([]int64{0, -noon, -hour, 30 * hour, 400_000 * hour}).Draw(t, "wrong by")
			trusted := rapid.Bool().Draw(t, "starts synchronised")
			var w timeline.Watch
			for range rapid.IntRange(1, 300).Draw(t, "ticks") {
				b.truth += rapid.SampledFrom([]int64{second, second, second, 600 * second}).Draw(t, "tick")
				switch rapid.IntRange(0, 40).Draw(t, "event") {
				case 0:
					trusted = true
				case 1:
					trusted = false
					wrong = rapid.Int64Range(-3*hour, 3*hour).Draw(t, "wrong by now")
				case 2:
					leap = rapid.SampledFrom([]int64{-second, 0}).Draw(t, "leap")
				}
				wall := b.truth + leap
				if !trusted {
					wall += wrong
				}
				ms := b.truth - start
				if w.Observe(ms, wall, trusted) {
					if n := len(segments); n > 0 && segments[n-1].Run == b.run {
						segments[n-1].To = ms
					}
					segments = append(segments, timeline.Segment{
						Run: b.run, Kernel: string(rune('a' + b.kernel)), Uptime: start - b.booted,
						From: ms, Seen: wall, Trusted: trusted,
					})
				}
				segments[len(segments)-1].To = ms + second
				synced[b.kernel] = synced[b.kernel] || trusted
				samples = append(samples, took{len(segments) - 1, ms, b.truth, false, b.kernel})
			}
		}
		placed := timeline.Place(segments)
		last := int64(-1 << 62)
		for i, s := range samples {
			p := placed[s.segment]
			at := p.At(s.ms)
			if at <= last {
				t.Fatalf("sample %d at %d, the one before at %d: %+v", i, at, last, placed)
			}
			last = at
			if off := at - s.truth; synced[s.kernelBoot] && (off > 2*second || off < -2*second) {
				t.Fatalf("sample %d is off by %d ms: %+v", i, off, placed)
			}
			if back := p.Moment(at); p.At(back) < at || p.At(back) > at+2 {
				t.Fatalf("moment of %d is %d", at, back)
			}
		}
	})
}

// Whatever the segments say, what comes out rises and does not overlap.
func FuzzPlace(f *testing.F) {
	f.Add([]byte{1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12, 13, 14, 15})
	f.Fuzz(func(t *testing.T, data []byte) {
		var segments []timeline.Segment
		run, from := int64(1), int64(0)
		for ; len(data) >= 4; data = data[4:] {
			if data[0]&3 == 0 {
				run, from = run+1, 0
			}
			length := int64(data[1]) << (data[0] >> 4)
			segments = append(segments, timeline.Segment{
				Run: run, From: from, To: from + length, Trusted: data[0]&4 != 0,
				Seen: int64(int16(uint16(data[2])<<8|uint16(data[3]))) * 1 << (data[0] >> 2 & 31),
			})
			from += length
		}
		placed := timeline.Place(segments)
		for i := 1; i < len(placed); i++ {
			if p := placed[i-1]; p.End() > placed[i].Wall || !(p.Rate > 0.8 && p.Rate <= 1) {
				t.Fatalf("%+v overlaps %+v", p, placed[i])
			}
		}
	})
}
