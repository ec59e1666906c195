//go:build unix

package atomicfile_test

import (
	"os"
	"path/filepath"
	"syscall"
	"testing"

	"fluewright/daemon/internal/atomicfile"
)

// TestPrivate: nobody else reads it, and what root writes for a service is the service's.
func TestPrivate(t *testing.T) {
	dir := t.TempDir()
	const service = 4711
	if os.Geteuid() == 0 {
		if err := os.Chown(dir, service, service); err != nil {
			t.Fatal(err)
		}
	}
	for range 2 {
		if err := atomicfile.WritePrivate(dir, "secret", []byte("x")); err != nil {
			t.Fatal(err)
		}
	}
	info, err := os.Stat(filepath.Join(dir, "secret"))
	if err != nil {
		t.Fatal(err)
	}
	if info.Mode().Perm() != 0o600 {
		t.Errorf("it is %v", info.Mode())
	}
	if s, ok := info.Sys().(*syscall.Stat_t); ok && os.Geteuid() == 0 && (s.Uid != service || s.Gid != service) {
		t.Errorf("it belongs to %d:%d", s.Uid, s.Gid)
	}
}
