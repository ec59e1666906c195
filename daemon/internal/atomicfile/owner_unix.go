//go:build unix

package atomicfile

import (
	"os"
	"syscall"
)

// chownLike gives a file that root has made to the owner of the directory.
func chownLike(dir string, f *os.File) error {
	info, err := os.Stat(dir)
	if err != nil {
		return err
	}
	owner, ok := info.Sys().(*syscall.Stat_t)
	if !ok || os.Geteuid() != 0 || owner.Uid == 0 {
		return nil
	}
	return f.Chown(int(owner.Uid), int(owner.Gid))
}
