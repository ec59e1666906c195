package app

import "golang.org/x/sys/unix"

// timeError is the kernel's TIME_ERROR of adjtimex(2): the clock is not synchronised.
const timeError = 5

func kernelSynchronised() bool {
	var t unix.Timex
	state, err := unix.Adjtimex(&t)
	return err == nil && state != timeError && t.Status&unix.STA_UNSYNC == 0
}
