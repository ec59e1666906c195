package history

import (
	"os"
	"path/filepath"
	"testing"
)

// What a killed process has left behind goes, what another one uses stays.
func TestCopiesThatNobodyNeedsGo(t *testing.T) {
	t.Setenv("TMPDIR", t.TempDir())
	used, usedLock, err := ownDir()
	if err != nil {
		t.Fatal(err)
	}
	defer usedLock.Close()
	left, leftLock, err := ownDir()
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(left, FileName), []byte("a copy"), 0o600); err != nil {
		t.Fatal(err)
	}
	if err := leftLock.Close(); err != nil { // as a kill does
		t.Fatal(err)
	}
	foreign := filepath.Join(os.TempDir(), "fluewright-history-notes")
	if err := os.Mkdir(foreign, 0o700); err != nil {
		t.Fatal(err)
	}
	_, lock, err := ownDir()
	if err != nil {
		t.Fatal(err)
	}
	defer lock.Close()
	if _, err := os.Stat(left); !os.IsNotExist(err) {
		t.Errorf("what was left behind is still there: %v", err)
	}
	for _, dir := range []string{used, foreign} {
		if _, err := os.Stat(dir); err != nil {
			t.Error(err)
		}
	}
}
