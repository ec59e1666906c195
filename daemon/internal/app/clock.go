package app

import (
	"os"
	"time"
)

// clockTrust learns whether the wall clock is synchronised. It asks rarely: the answer
// changes once after a boot.
type clockTrust struct {
	trusted bool
	asked   time.Time
}

// syncedFile is touched by systemd-timesyncd after each synchronisation.
const syncedFile = "/run/systemd/timesync/synchronized"

func (c *clockTrust) at(now time.Time) bool {
	if c.asked.IsZero() || now.Sub(c.asked) >= time.Minute {
		c.asked = now
		// The file first: a hardened service may not ask the kernel. With another time
		// service there is only the kernel's flag.
		_, err := os.Stat(syncedFile)
		c.trusted = err == nil || kernelSynchronised()
	}
	return c.trusted
}

// ClockTrusted reports whether the wall clock is known to be synchronised, for a command that
// runs once.
func ClockTrusted() bool { return (&clockTrust{}).at(time.Now()) }
