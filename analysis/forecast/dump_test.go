package forecast

import (
	"bufio"
	"fmt"
	"math"
	"os"
	"strconv"
	"testing"
	"time"

	"fluewright/analysis/frame"
	"fluewright/daemon/judge/curves"
	"fluewright/daemon/judge/night"
	"fluewright/daemon/judge/scripted"
)

func TestDump(t *testing.T) {
	n, _ := strconv.Atoi(os.Getenv("DUMP"))
	if n == 0 {
		t.Skip()
	}
	f, _ := os.Create("/tmp/dump.csv")
	defer f.Close()
	w := bufio.NewWriter(f)
	defer w.Flush()
	fmt.Fprintln(w, "world,kind,legit,seed,ch,at,a,r,s,d,derr,serr,drive,fut,cross,age,hs,hp,floor")
	for _, world := range []night.World{scripted.World{}, curves.World{}} {
		for _, k := range world.Kinds() {
			for seed := uint64(1); seed <= uint64(n); seed++ {
				nt := world.Night(k.Name, seed)
				site := nt.Site()
				var at []time.Duration
				var vals [][3]float64
				var draft []float64
				var row night.Row
				for nt.Next(&row) {
					at = append(at, row.At)
					vals = append(vals, [3]float64{row.Values[frame.Firebox], row.Values[frame.Chamber], row.Values[frame.Flue]})
					draft = append(draft, row.Values[frame.Draft])
				}
				for c := 0; c < 3; c++ {
					L := site.Limits[c]
					if L == 0 || !site.Fitted[c] {
						continue
					}
					N := len(at)
					// future max within 15 min by deque
					fut := make([]float64, N)
					cross := make([]float64, N)
					dq := []int{}
					j := 0
					for i := 0; i < N; i++ {
						for j < N && at[j]-at[i] <= 15*time.Minute {
							for len(dq) > 0 && !(vals[dq[len(dq)-1]][c] > vals[j][c]) {
								dq = dq[:len(dq)-1]
							}
							dq = append(dq, j)
							j++
						}
						for len(dq) > 0 && dq[0] < i {
							dq = dq[1:]
						}
						fut[i] = math.NaN()
						if len(dq) > 0 {
							fut[i] = vals[dq[0]][c]
						}
					}
					next := math.NaN()
					for i := N - 1; i >= 0; i-- {
						if vals[i][c] > L {
							next = at[i].Seconds()
						}
						cross[i] = next - at[i].Seconds()
					}
					tr, _ := newTrack()
					var co course
					last := time.Duration(-1e12)
					sm := math.NaN()
					var riseAt time.Duration
					hs, hp := 0.0, 0.0 // harmless
					cs, cp := 0.0, 0.0 // current rise
					for i := 0; i < N; i++ {
						if !math.IsNaN(draft[i]) {
							if math.IsNaN(sm) {
								sm = draft[i]
							}
							dt := 1.0
							if i > 0 {
								dt = (at[i] - at[i-1]).Seconds()
							}
							sm += dt / (dt + 30) * (draft[i] - sm)
						}
						if math.IsNaN(vals[i][c]) {
							continue
						}
						tr.step(at[i], vals[i][c])
						s := tr.state()
						was := co.trough
						co.step(at[i], s)
						if co.trough != was {
							riseAt = at[i]
						}
						if s.known {
							a := (s.level - 20) / (L - 20)
							cp = max(cp, a)
							if a > 0.3 {
								cs = max(cs, s.slope*60/(L-20))
							}
							if a < cp-0.08 && s.slope < 0 {
								if cp < 1 {
									hs, hp = max(hs, cs), max(hp, cp)
								}
								cp, cs = a, 0
							}
						}
						if !s.known || at[i]-last < 10*time.Second || s.slope < 3*s.slopeError || s.slope < 0.03 {
							continue
						}
						last = at[i]
						a := (s.level - 20) / (L - 20)
						if a < 0.2 || a >= 1 {
							continue
						}
						legit := 0
						if k.Legit {
							legit = 1
						}
						fmt.Fprintf(w, "%s,%s,%d,%d,%d,%.0f,%.3f,%.3f,%.4f,%.4f,%.4f,%.4f,%.3f,%.3f,%.0f,%.0f,%.4f,%.3f,%.3f\n", world.Name(), k.Name, legit, seed, c, at[i].Seconds(), a, (s.level-co.trough)/(L-20), s.slope*60/(L-20), -s.curvature/s.slope*60, s.curvatureError/s.slope*60, s.slopeError*60/(L-20), sm/site.DraftHigh, (fut[i]-20)/(L-20), cross[i], (at[i] - riseAt).Seconds(), hs, hp, (co.held-20)/(L-20))
					}
				}
			}
		}
	}
}
