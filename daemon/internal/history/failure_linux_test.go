//go:build amd64 || arm64 || riscv64

package history_test

import (
	"bytes"
	"context"
	"errors"
	"os"
	"path/filepath"
	"syscall"
	"testing"
	"time"

	"fluewright/analysis/alarm"
	"fluewright/analysis/frame"
	"fluewright/daemon/internal/history"
)

// eventually waits until the store does as it should.
func (s *site) eventually(what string, ok func(history.Health) bool) {
	s.t.Helper()
	end := time.Now().Add(25 * time.Second)
	for !ok(s.Health()) {
		if time.Now().After(end) {
			s.t.Fatalf("%s: %+v", what, s.Health())
		}
		time.Sleep(5 * time.Millisecond)
	}
}

func fine(h history.Health) bool { return h.State == history.Fine }

// Whatever the storage answers, ticks are taken, what was recorded can be seen, and when it
// is well again everything is in the file.
func TestStorageThatFails(t *testing.T) {
	tests := map[string]struct {
		errno syscall.Errno
		after int
		short bool
		state history.State
	}{
		"full":                       {syscall.ENOSPC, 0, false, history.Full},
		"full within a commit":       {syscall.ENOSPC, 1, false, history.Full},
		"full, after half a write":   {syscall.ENOSPC, 1, true, history.Full},
		"error":                      {syscall.EIO, 0, false, history.Failing},
		"error within a commit":      {syscall.EIO, 2, false, history.Failing},
		"error after half a write":   {syscall.EIO, 1, true, history.Failing},
		"read-only":                  {syscall.EROFS, 0, false, history.Failing},
		"read-only within a commit":  {syscall.EROFS, 2, false, history.Failing},
		"error in the second commit": {syscall.EIO, 9, true, history.Failing},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			c := newCard(t)
			s := begin(t, options(c.dir))
			s.ticks(0, 700*time.Second)
			s.commit()
			c.fail(tt.errno, tt.after, tt.short)
			begun := time.Now()
			s.ticks(700*time.Second, 1000*time.Second)
			s.tick(1000*time.Second, raised(alarm.Spillage, frame.Count, 1))
			for s.Health().State == history.Fine {
				ctx, cancel := context.WithTimeout(context.Background(), 20*time.Second)
				s.tick(1000*time.Second + time.Since(begun).Truncate(time.Second))
				err := s.Commit(ctx)
				if cancel(); errors.Is(err, context.DeadlineExceeded) {
					t.Fatal("an alarm would wait for a broken card: ", err)
				}
			}
			if h := s.Health(); h.State != tt.state && !(tt.errno == syscall.EROFS && h.State == history.ReadOnly) || !h.Impaired() || h.Err == nil {
				t.Errorf("%+v", h)
			}
			s.ticks(1100*time.Second, 2500*time.Second)
			if n := len(s.rowsFrom(noon.Add(1100 * time.Second))); n < 1399 {
				t.Errorf("%d rows of the time without storage can be seen", n)
			}
			c.heal()
			s.eventually("well again", fine)
			s.commit()
			h := s.Health()
			if h.Dropped != 0 || h.Lost != 0 || h.SetAside != "" {
				t.Errorf("%+v", h)
			}
			s.close()
			if got := query(t, c.raw, "SELECT count(*) FROM alarm_log; PRAGMA integrity_check"); got != "1\nok" {
				t.Error(got)
			}
			s = begin(t, options(c.dir))
			s.wall = noon.Add(9 * time.Hour)
			s.tick(0)
			s.commit()
			got := s.rows()
			for i, r := range got[:700] {
				if !r.At.Equal(noon.Add(time.Duration(i) * time.Second)) {
					t.Fatalf("row %d is at %v", i, r.At)
				}
			}
			if n := len(got); n < 1000+1400 {
				t.Errorf("%d rows", n)
			}
		})
	}
}

// A card that stalls for ten seconds holds up nobody but who waits for it, and that one only
// as long as it wants to wait.
func TestStorageThatStalls(t *testing.T) {
	if testing.Short() {
		t.Skip("it stalls for 10 s")
	}
	c := newCard(t)
	s := begin(t, options(c.dir))
	s.ticks(0, 100*time.Second)
	s.commit()
	c.hang(10 * time.Second)
	s.tick(100*time.Second, raised(alarm.Spillage, frame.Count, 1))
	ctx, cancel := context.WithTimeout(context.Background(), 200*time.Millisecond)
	defer cancel()
	if err := s.Commit(ctx); !errors.Is(err, context.DeadlineExceeded) {
		t.Errorf("commit within a stall: %v", err)
	}
	worst := time.Duration(0)
	for at := 101 * time.Second; at < 500*time.Second; at += time.Second {
		begun := time.Now()
		s.tick(at)
		worst = max(worst, time.Since(begun))
	}
	if worst > 500*time.Millisecond { // the machine may be busy; a stall is 10 s
		t.Errorf("a tick took %v", worst)
	}
	s.eventually("slow", func(h history.Health) bool { return h.State == history.Slow && h.Impaired() })
	c.heal()
	s.eventually("well again", func(h history.Health) bool { return h.State == history.Fine && h.PendingEvents == 0 })
	s.commit()
	if n := len(s.rows()); n != 499 {
		t.Errorf("%d rows", n)
	}
}

// Memory is bounded: the oldest goes, and is counted.
func TestMemoryIsBounded(t *testing.T) {
	o := options(filepath.Join(t.TempDir(), "not", "there"))
	o.Keep.Memory = 20_000
	s := begin(t, o)
	s.stop()
	for at := time.Duration(0); at < 6*time.Hour; at += time.Second {
		s.tick(at)
		s.Turn()
	}
	h := s.Health()
	if h.Dropped == 0 || h.Pending+int(h.Dropped) != 6*3600-1 || !h.Impaired() {
		t.Errorf("%+v", h)
	}
	if err := os.MkdirAll(o.Dir, 0o700); err != nil {
		t.Fatal(err)
	}
	s.close()
	if got, want := query(t, o.Dir, "SELECT sum(flue_n) FROM trend_1min"), 6*3600-int(s.Health().Dropped); got != itoa(want) {
		t.Errorf("%s rows in the file, want %d", got, want)
	}
}

// A damaged file is set aside as it is, and a new one is begun; nothing that memory has is
// lost.
func TestDamagedFileIsSetAside(t *testing.T) {
	for name, damage := range map[string]func([]byte) []byte{
		"not a database": func([]byte) []byte { return bytes.Repeat([]byte("wood "), 5000) },
		"another's":      func([]byte) []byte { return nil },
		"cut":            func(b []byte) []byte { return b[:len(b)/2] },
		"header":         func(b []byte) []byte { return append(bytes.Repeat([]byte{0xff}, 100), b[100:]...) },
		"schema is wrong": func(b []byte) []byte {
			return append(append(b[:100:100], bytes.Repeat([]byte{7}, 3000)...), b[3100:]...)
		},
	} {
		t.Run(name, func(t *testing.T) {
			dir := t.TempDir()
			s := begin(t, options(dir))
			s.ticks(0, 700*time.Second)
			s.close()
			path := filepath.Join(dir, history.FileName)
			whole, err := os.ReadFile(path)
			if err != nil {
				t.Fatal(err)
			}
			broken := damage(whole)
			if broken == nil {
				broken = foreign(t)
			}
			if err := os.WriteFile(path, broken, 0o600); err != nil {
				t.Fatal(err)
			}
			s = begin(t, options(dir))
			s.ticks(0, 100*time.Second)
			s.commit()
			h := s.Health()
			if h.State != history.Fine || h.SetAside == "" || !h.Impaired() {
				t.Fatalf("%+v", h)
			}
			if kept, err := os.ReadFile(h.SetAside); err != nil || !bytes.Equal(kept, broken) {
				t.Errorf("what was set aside is not what was there: %v", err)
			}
			if n := len(s.rows()); n != 99 {
				t.Errorf("%d rows", n)
			}
			if all, err := s.Events(t.Context(), "notices", noon, noon.Add(time.Hour)); err != nil || len(all) != 1 || all[0].Fields["notice"] != "history-damaged" {
				t.Errorf("%v, %v", all, err)
			}
		})
	}
}
