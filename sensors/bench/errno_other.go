//go:build !linux

package bench

import "syscall"

// The nearest that other systems have.
const (
	errNoAck   = syscall.ENXIO
	errTimeout = syscall.ETIMEDOUT
)
