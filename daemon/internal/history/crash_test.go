package history_test

import (
	"bufio"
	"context"
	"flag"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"fluewright/analysis/alarm"
	"fluewright/analysis/frame"
	"fluewright/daemon/internal/history"
)

var kills = flag.Int("kills", 20, "how often the crash test kills")

// crashDir is set for a process that is there to be killed.
const crashDir = "FLUEWRIGHT_HISTORY_CRASH_DIR"

func TestMain(m *testing.M) {
	if dir := os.Getenv(crashDir); dir != "" {
		recordUntilKilled(dir)
		return
	}
	os.Exit(m.Run())
}

// recordUntilKilled ticks as fast as it can, with an alarm now and then, and says of each
// alarm and of all ticks before it that they are durable once they are. Tick k of run r has
// a flue of k/8 °C.
func recordUntilKilled(dir string) {
	run, _ := strconv.Atoi(os.Getenv(crashDir + "_RUN"))
	s := begin(crashed{}, options(dir))
	s.wall = noon.Add(time.Duration(run) * 100 * time.Hour)
	k := 0
	s.values = func(time.Duration) frame.Values {
		v := nothing()
		v[frame.Flue], v[frame.Draft] = float64(k)/8, 12
		return v
	}
	for ; ; k++ {
		at := time.Duration(k) * time.Second
		if k%37 != 36 {
			s.tick(at)
			continue
		}
		s.tick(at, raised(alarm.Spillage, frame.Count, uint32(k)))
		if err := s.Commit(context.Background()); err != nil {
			fmt.Println("error", err)
			return
		}
		fmt.Println("durable", k) // one write: the kill cannot cut it
	}
}

// crashed is what begin needs of a test.
type crashed struct{ testing.TB }

func (crashed) Cleanup(func()) {}

// Killed at any moment, and copied half written and cut, the store opens again; what was
// said to be durable is there.
func TestKilled(t *testing.T) {
	if os.Getenv("FLUEWRIGHT_EMULATED") != "" {
		t.Skip("it starts itself, which an emulator's machine cannot")
	}
	n := *kills
	if testing.Short() {
		n = min(n, 5)
	}
	r := rand.New(rand.NewPCG(uint64(time.Now().UnixNano()), 1))
	dir := t.TempDir()
	durable := map[int]int{} // by run
	for run := range n {
		cmd := exec.Command(os.Args[0], "-test.run=NONE")
		cmd.Env = append(os.Environ(), crashDir+"="+dir, crashDir+"_RUN="+strconv.Itoa(run))
		out, err := cmd.StdoutPipe()
		if err != nil {
			t.Fatal(err)
		}
		if err := cmd.Start(); err != nil {
			t.Fatal(err)
		}
		lines := bufio.NewScanner(out)
		durable[run] = -1
		note := func() {
			word, k, _ := strings.Cut(lines.Text(), " ")
			if word != "durable" {
				t.Fatal(lines.Text())
			}
			durable[run], _ = strconv.Atoi(k)
		}
		if run%4 > 0 && lines.Scan() { // every fourth is killed while it begins
			note()
		}
		time.AfterFunc(time.Duration(r.Int64N(int64(250*time.Millisecond))), func() {
			copyCut(t, dir, r)
			_ = cmd.Process.Kill()
		})
		for lines.Scan() {
			note()
		}
		_ = cmd.Wait()
		if run%10 == 9 || run == n-1 {
			verify(t, dir, durable)
		}
	}
}

// verify opens a copy and looks for everything that was durable.
func verify(t *testing.T, dir string, durable map[int]int) {
	t.Helper()
	twin := t.TempDir()
	for _, end := range []string{"", "-wal"} {
		copyFile(t, filepath.Join(dir, history.FileName+end), filepath.Join(twin, history.FileName+end), -1)
	}
	s := begin(t, options(twin))
	s.wall = noon.AddDate(50, 0, 0)
	s.tick(0)
	s.commit()
	if h := s.Health(); h.SetAside != "" || h.Unreadable != 0 {
		t.Fatalf("%+v", h)
	}
	got := map[int]int{}
	last := time.Time{}
	for _, row := range s.rows() {
		run := int(row.At.Sub(noon) / (100 * time.Hour))
		k := int(row.At.Sub(noon)%(100*time.Hour)) / int(time.Second)
		if run > len(durable) {
			continue
		}
		if k != got[run] || row.Values[frame.Flue] != float64(k)/8 || !row.At.After(last) {
			t.Fatalf("run %d: tick %d is %+v after %d", run, k, row, got[run])
		}
		got[run]++
		last = row.At
	}
	alarms, err := s.Events(t.Context(), "alarms", noon.Add(-time.Hour), noon.AddDate(40, 0, 0))
	if err != nil {
		t.Fatal(err)
	}
	told := map[int]map[int]bool{}
	for _, a := range alarms {
		run := int(a.At.Sub(noon) / (100 * time.Hour))
		if told[run] == nil {
			told[run] = map[int]bool{}
		}
		told[run][int(a.Fields["occurrence"].(int64))] = true
	}
	t.Logf("durable ticks by run: %v", durable)
	for run, k := range durable {
		if run%4 > 0 && k < 36 {
			t.Errorf("run %d came to nothing", run)
		}
		if got[run] < k {
			t.Errorf("run %d: %d ticks, of %d that were durable", run, got[run], k)
		}
		for a := 36; a <= k; a += 37 {
			if !told[run][a] {
				t.Errorf("run %d: alarm %d was announced and is missing", run, a)
			}
		}
	}
	s.close()
	if ok := query(t, twin, "PRAGMA integrity_check"); ok != "ok" {
		t.Error(ok)
	}
}

// copyCut copies the files while they are written, cuts them anywhere, and opens that: it may
// be set aside, but the store must go on.
func copyCut(t *testing.T, dir string, r *rand.Rand) {
	twin := t.TempDir()
	for _, end := range []string{"", "-wal"} {
		cut := int64(-1)
		if r.IntN(2) == 0 {
			cut = r.Int64N(200_000)
		}
		copyFile(t, filepath.Join(dir, history.FileName+end), filepath.Join(twin, history.FileName+end), cut)
	}
	s := begin(t, options(twin))
	s.wall = noon.AddDate(50, 0, 0)
	s.ticks(0, 100*time.Second)
	ctx, cancel := context.WithTimeout(context.Background(), 20*time.Second)
	defer cancel()
	// Damage that the opening did not see fails the write that meets it: that is said to who
	// waits, and the next write begins a file that is whole.
	if s.Commit(ctx) != nil {
		if err := s.Commit(ctx); err != nil {
			t.Errorf("after a cut, again: %v", err)
		}
	}
	n := 0
	for _, err := range s.Rows(ctx, noon.AddDate(49, 0, 0), noon.AddDate(51, 0, 0)) {
		if err != nil {
			t.Errorf("after a cut: %v", err)
			break
		}
		n++
	}
	if n != 99 {
		t.Errorf("after a cut: %d rows", n)
	}
	s.stop()
	if err := s.Close(ctx); err != nil {
		t.Errorf("after a cut: %v", err)
	}
}

func copyFile(t *testing.T, from, to string, most int64) {
	in, err := os.Open(from)
	if os.IsNotExist(err) {
		return
	}
	if err != nil {
		t.Error(err)
		return
	}
	defer in.Close()
	out, err := os.Create(to)
	if err != nil {
		t.Error(err)
		return
	}
	defer out.Close()
	if most < 0 {
		most = 1 << 40
	}
	if _, err := io.Copy(out, io.LimitReader(in, most)); err != nil {
		t.Error(err)
	}
}
