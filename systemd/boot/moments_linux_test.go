package boot_test

import (
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
)

// anyMoment plays one evening and then asks of many moments of it what a cut just then would
// have left on the disk: a file system that its check puts right by itself, a history that
// is whole, and in it every change of an alarm that somebody had heard of by then.
func anyMoment(t *testing.T, i installed) {
	const moments = 60
	d := newDisk(t, i.image)
	m := power(t, i, d, "rw")
	m.up()
	for n := range 6 {
		m.turn(n, true)
	}
	m.cut()
	first := slices.IndexFunc(m.heard, func(h heard) bool { return strings.Contains(h.line, "/event ") })
	if first < 0 {
		t.Fatal("nothing was heard")
	}
	luck := chance(t)
	from, to := m.heard[first].writes, d.written()
	t.Logf("%d kB were written since the first event", (to-from)>>10)
	cut, lost, held, promised := filepath.Join(d.dir, "cut"), 0, 0, 0
	for range moments {
		at := from + luck.Int64N(to-from)
		must(t, exec.Command("cp", "--sparse=always", d.file, cut))
		l, h := d.loseAt(cut, at, luck)
		lost, held = lost+l, held+h
		if out, err := exec.Command("e2fsck", "-fp", cut).CombinedOutput(); err != nil && err.(*exec.ExitError).ExitCode() != 1 {
			t.Errorf("cut at %d of %d bytes: %v, %s", at, to, err, out)
			continue
		}
		left := t.TempDir()
		must(t, exec.Command("debugfs", "-R", "rdump /var/lib/fluewright "+left, cut))
		var events []string
		for _, h := range m.heard {
			if h.writes <= at && strings.Contains(h.line, "/event ") {
				events = append(events, h.line)
			}
		}
		announced := changes(t, events)
		ask := "PRAGMA integrity_check"
		if len(announced) > 0 { // the tables need not be there sooner
			ask = inHistory
		}
		out, err := exec.Command("sqlite3", filepath.Join(left, "fluewright", "history.db"), ask).CombinedOutput()
		lines := strings.Split(strings.TrimSpace(string(out)), "\n")
		if err != nil || lines[0] != "ok" {
			t.Errorf("cut at %d of %d bytes, with %q announced: %v, %s", at, to, announced, err, out)
			continue
		}
		for _, a := range announced {
			promised++
			if !slices.Contains(lines, a) {
				t.Errorf("cut at %d of %d bytes: %s was announced and is not in the history", at, to, a)
			}
		}
	}
	t.Logf("%d moments, %d announcements held against them; of %d sectors not flushed %d were lost", moments, promised, held, lost)
}
