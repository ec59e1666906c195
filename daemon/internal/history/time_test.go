package history_test

import (
	"fmt"
	"testing"
	"time"

	"pgregory.net/rapid"

	"fluewright/analysis/alarm"
	"fluewright/analysis/frame"
)

// Whatever the clock does, every row comes back once, in its order, none over another, and
// where the boot was ever synchronised at its time; so do the alarms. The runs are cut off
// or ended.
func TestAnyClock(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		dir := t.TempDir()
		truth := noon
		offered := map[int]time.Time{} // by tick: the truth
		var synced []bool              // by tick
		k := 0
		kernel, booted := 0, truth
		first := 0 // tick of the kernel's boot
		for run := range rapid.IntRange(1, 3).Draw(rt, "runs") {
			if run == 0 || rapid.Bool().Draw(rt, "reboots") {
				kernel++
				first = k
				booted = truth.Add(-time.Duration(rapid.IntRange(1, 100).Draw(rt, "booting")) * time.Second)
			}
			o := options(dir)
			since := booted
			o.Kernel, o.Uptime = fmt.Sprint("k", kernel), func() time.Duration { return truth.Sub(since) }
			s := begin(t, o)
			s.stop()
			s.values = func(time.Duration) frame.Values {
				v := nothing()
				v[frame.Flue] = float64(k) / 8
				return v
			}
			start := truth
			wrong := rapid.SampledFrom([]time.Duration{0, -time.Hour, 30 * time.Hour, -56 * 365 * 24 * time.Hour, 40 * 365 * 24 * time.Hour}).Draw(rt, "wrong by")
			s.trusted = rapid.Bool().Draw(rt, "starts synchronised")
			leap := time.Duration(0)
			n := rapid.IntRange(1, 800).Draw(rt, "ticks")
			for range n {
				switch rapid.IntRange(0, 200).Draw(rt, "event") {
				case 0:
					s.trusted = true
				case 1:
					s.trusted, wrong = false, time.Duration(rapid.IntRange(-9000, 9000).Draw(rt, "wrong by now"))*time.Second
				case 2:
					leap = -time.Second
				case 3:
					truth = truth.Add(10 * time.Minute)
				}
				s.wall = start.Add(leap)
				if !s.trusted {
					s.wall = s.wall.Add(wrong)
				}
				offered[k] = truth
				synced = append(synced, false)
				if s.trusted {
					for i := first; i <= k; i++ {
						synced[i] = true
					}
				} else if k > first {
					synced[k] = synced[k-1]
				}
				if k%200 == 0 {
					s.tick(truth.Sub(start), raised(alarm.Overheat, frame.Flue, uint32(k)))
				} else {
					s.tick(truth.Sub(start))
				}
				s.Turn()
				truth = truth.Add(time.Second)
				k++
			}
			if rapid.Bool().Draw(rt, "cut off") {
				s.tick(truth.Sub(start)) // ends the last second
				offered[k], synced = truth, append(synced, synced[k-1])
				truth = truth.Add(time.Second)
				k++
				s.commitHere()
				dir = s.cutOff()
				k-- // what was in memory is lost with the cut
				synced = synced[:k]
			} else {
				s.close()
			}
			truth = truth.Add(time.Duration(rapid.IntRange(60, 100_000).Draw(rt, "off for")) * time.Second)
		}
		s := begin(t, options(dir))
		s.wall = truth.AddDate(90, 0, 0)
		s.tick(0)
		s.commit()
		rows := s.rows()
		if len(rows) != k {
			rt.Fatalf("%d rows of %d", len(rows), k)
		}
		for i, r := range rows {
			if got := r.Values[frame.Flue]; got != float64(i)/8 {
				rt.Fatalf("row %d is tick %g", i, got*8)
			}
			if i > 0 && !r.At.After(rows[i-1].At) {
				rt.Fatalf("row %d at %v is not after %v", i, r.At, rows[i-1].At)
			}
			off := r.At.Sub(offered[i])
			if r.Sure != synced[i] || synced[i] && (off > 2*time.Second || off < -2*time.Second) {
				rt.Fatalf("row %d at %v, sure: %v; it was %v, synchronised: %v", i, r.At, r.Sure, offered[i], synced[i])
			}
		}
		alarms, err := s.Events(t.Context(), "alarms", time.UnixMilli(0), truth.AddDate(91, 0, 0))
		if err != nil || len(alarms) != (k+199)/200 {
			rt.Fatalf("%d alarms of %d, %v", len(alarms), (k+199)/200, err)
		}
		for _, a := range alarms {
			i := int(a.Fields["occurrence"].(int64))
			if off := a.At.Sub(rows[i].At); off < 0 || off >= 2*time.Second {
				rt.Fatalf("alarm of tick %d at %v, its row at %v", i, a.At, rows[i].At)
			}
		}
	})
}
