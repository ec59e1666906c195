package history_test

import (
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"fluewright/analysis/burn"
)

// TestWear measures what a day costs a card: the sectors that reach the device under an ext4
// of its own, its journal included, in real time. FLUEWRIGHT_WEAR is for how long, at least
// ten minutes of a steady state; the first two minutes are not counted.
func TestWear(t *testing.T) {
	length, err := time.ParseDuration(os.Getenv("FLUEWRIGHT_WEAR"))
	if err != nil {
		t.Skip("FLUEWRIGHT_WEAR says for how long to measure")
	}
	days := course(1)
	for name, phase := range map[string]burn.Phase{"burning": burn.CleanBurn, "cold": burn.Cold} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			dir, written := loopCard(t)
			s := begin(t, options(dir))
			s.phase = phase
			run := func(from, to int) {
				for i := from; i < to; i++ {
					s.Offer(s.statusOf(time.Duration(i)*time.Second, days[i%len(days)]))
					time.Sleep(time.Second)
				}
			}
			const warm = 120
			run(0, warm)
			before := written()
			run(warm, warm+int(length/time.Second))
			mb := float64(written()-before) * 512 / 1e6
			t.Logf("%s: %.2f MB in %v: %.1f MB a day", name, mb, length, mb*float64(24*time.Hour)/float64(length))
			s.close()
		})
	}
}

// loopCard mounts an ext4 of its own, and tells how many sectors were written to it.
func loopCard(t *testing.T) (dir string, written func() int) {
	t.Helper()
	image := filepath.Join("/dev/shm", fmt.Sprintf("fluewright-card-%d-%s", os.Getpid(), filepath.Base(t.Name())))
	dir = t.TempDir()
	shell := func(command string) string {
		out, err := exec.Command("sh", "-ec", command).CombinedOutput()
		if err != nil {
			t.Skipf("%s: %v: %s", command, err, out)
		}
		return strings.TrimSpace(string(out))
	}
	t.Cleanup(func() { _ = os.Remove(image) })
	shell("truncate -s 256M " + image + " && mkfs.ext4 -q -E lazy_itable_init=0,lazy_journal_init=0 " + image)
	device := shell("losetup -f --show " + image)
	t.Cleanup(func() { _ = exec.Command("losetup", "-d", device).Run() })
	shell("mount -o noatime,commit=5 " + device + " " + dir)
	t.Cleanup(func() { _ = exec.Command("umount", dir).Run() })
	return dir, func() int {
		stat, err := os.ReadFile(filepath.Join("/sys/block", filepath.Base(device), "stat"))
		if err != nil {
			t.Fatal(err)
		}
		n, err := strconv.Atoi(strings.Fields(string(stat))[6])
		if err != nil {
			t.Fatal(err)
		}
		return n
	}
}
