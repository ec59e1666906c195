package app

import (
	"os"
	"strings"
	"time"

	"golang.org/x/sys/unix"
)

// timeError is the kernel's TIME_ERROR of adjtimex(2): the clock is not synchronised.
const timeError = 5

func kernelSynchronised() bool {
	var t unix.Timex
	state, err := unix.Adjtimex(&t)
	return err == nil && state != timeError && t.Status&unix.STA_UNSYNC == 0
}

// kernelBoot names this boot of the computer and says how old it is; an empty name where
// that is not known.
func kernelBoot() (id string, age func() time.Duration) {
	text, err := os.ReadFile("/proc/sys/kernel/random/boot_id")
	if err != nil || bootAge() == 0 {
		return "", nil // a hardened service may not see it
	}
	return strings.TrimSpace(string(text)), bootAge
}

// bootAge is how long the computer has run, its sleep included; zero where that cannot be
// told.
func bootAge() time.Duration {
	var t unix.Timespec
	if err := unix.ClockGettime(unix.CLOCK_BOOTTIME, &t); err != nil {
		return 0
	}
	return time.Duration(t.Nano())
}
