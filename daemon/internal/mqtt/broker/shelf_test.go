package broker

import (
	"log/slog"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

const (
	spillage = "fluewright/cellar-7/alarm/spillage"
	overheat = "fluewright/cellar-7/alarm/overheat/flue"
)

// raised keeps whatever begins with that.
func raised(_ string, payload []byte) string {
	says, _, _ := strings.Cut(string(payload), ",")
	if !strings.HasPrefix(says, "raised") {
		return ""
	}
	return says
}

func shelfIn(t *testing.T, dir string) *shelf {
	t.Helper()
	return newShelf(Keep{dir, raised}, slog.New(slog.DiscardHandler))
}

var both = map[string]bool{spillage: true, overheat: true}

func TestShelf(t *testing.T) {
	dir := t.TempDir()
	s := shelfIn(t, dir)
	if got := s.load(both); len(got) != 0 {
		t.Errorf("nothing was kept yet: %q", got)
	}
	go s.run()
	s.put(spillage, []byte("raised 1,at noon"))
	s.put(overheat, []byte("raised 4"))
	s.put("fluewright/cellar-7/availability", []byte("online"))
	s.put(overheat, []byte("normal"))
	s.close(time.Second)
	got := shelfIn(t, dir).load(both)
	if len(got) != 1 || string(got[spillage]) != "raised 1,at noon" {
		t.Errorf("kept are %q", got)
	}
	// What there is no longer would stand for ever.
	if got := shelfIn(t, dir).load(map[string]bool{overheat: true}); len(got) != 0 {
		t.Errorf("kept are %q, which nobody judges", got)
	}
	// And the last word, that it is over, is kept too.
	s = shelfIn(t, dir)
	s.load(both)
	go s.run()
	s.put(spillage, nil)
	s.close(time.Second)
	if got := shelfIn(t, dir).load(both); len(got) != 0 {
		t.Errorf("kept are %q", got)
	}
}

// The file is written when what is said changes, not for each message.
func TestTheShelfSparesTheFlash(t *testing.T) {
	dir := t.TempDir()
	s := shelfIn(t, dir)
	go s.run()
	s.put(spillage, []byte("raised 1,first"))
	name := filepath.Join(dir, FileName)
	var before os.FileInfo
	for deadline := time.Now().Add(5 * time.Second); before == nil; time.Sleep(time.Millisecond) {
		if before, _ = os.Stat(name); before == nil && time.Now().After(deadline) {
			t.Fatal("nothing is written")
		}
	}
	for range 100 {
		s.put(spillage, []byte("raised 1,and again"))
	}
	s.close(time.Second)
	after, err := os.Stat(name)
	if err != nil || !os.SameFile(before, after) {
		t.Errorf("it is another file, %v", err)
	}
}

func TestABrokenShelfIsSetAside(t *testing.T) {
	for name, text := range map[string]string{"torn": `{"version":1,"mess`, "zeros": "\x00\x00", "newer": `{"version":2}`} {
		dir := t.TempDir()
		if err := os.WriteFile(filepath.Join(dir, FileName), []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		if got := shelfIn(t, dir).load(both); len(got) != 0 {
			t.Errorf("%s: %q", name, got)
		}
		if left, err := os.ReadFile(filepath.Join(dir, BrokenName)); err != nil || string(left) != text {
			t.Errorf("%s: set aside is %q, %v", name, left, err)
		}
	}
}

func TestAShelfThatCannotBeWritten(t *testing.T) {
	s := shelfIn(t, filepath.Join(t.TempDir(), "none"))
	go s.run()
	s.put(spillage, []byte("raised 1"))
	for deadline := time.Now().Add(5 * time.Second); s.failed() == 0; time.Sleep(time.Millisecond) {
		if time.Now().After(deadline) {
			t.Fatal("nothing fails")
		}
	}
	began := time.Now()
	s.close(time.Second)
	if took := time.Since(began); took > 900*time.Millisecond {
		t.Errorf("the end took %v", took)
	}
}

func FuzzPaper(f *testing.F) {
	f.Add([]byte(`{"version":1,"messages":[{"topic":"a/b","payload":"raised"}]}`))
	f.Fuzz(func(t *testing.T, text []byte) {
		if p, err := parsePaper(text); err == nil && p.Version != shelfVersion {
			t.Errorf("%+v", p)
		}
	})
}
