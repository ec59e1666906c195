package atomicfile_test

import (
	"os"
	"path/filepath"
	"testing"

	"fluewright/daemon/internal/atomicfile"
)

func TestWrite(t *testing.T) {
	dir := t.TempDir()
	for _, text := range []string{"the first, which is longer", "the second"} {
		if err := atomicfile.Write(dir, "file", []byte(text)); err != nil {
			t.Fatal(err)
		}
		if got, err := os.ReadFile(filepath.Join(dir, "file")); err != nil || string(got) != text {
			t.Errorf("%q, %v; want %q", got, err, text)
		}
	}
	if left, _ := os.ReadDir(dir); len(left) != 1 {
		t.Errorf("%d files are left", len(left))
	}
}

// What cannot be put in place leaves nothing behind.
func TestAFailureLeavesTheOldOne(t *testing.T) {
	dir := t.TempDir()
	if err := os.MkdirAll(filepath.Join(dir, "file", "in the way"), 0o755); err != nil {
		t.Fatal(err)
	}
	if err := atomicfile.Write(dir, "file", []byte("x")); err == nil {
		t.Error("a folder was replaced by a file")
	}
	if left, _ := os.ReadDir(dir); len(left) != 1 {
		t.Errorf("%d files are left", len(left))
	}
	if err := atomicfile.Write(filepath.Join(dir, "none"), "file", nil); err == nil {
		t.Error("written into a directory that is not there")
	}
}
