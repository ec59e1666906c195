//go:build unix

package handout

import (
	"math"

	"golang.org/x/sys/unix"
)

// freeOn returns how many bytes can still be written where dir is.
func freeOn(dir string) (int64, error) {
	var s unix.Statfs_t
	if err := unix.Statfs(dir, &s); err != nil {
		return 0, err
	}
	return int64(min(float64(s.Bavail)*float64(s.Bsize), math.MaxInt64/2)), nil
}
