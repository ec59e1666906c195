package bench

import "syscall"

// What Linux returns for an address that nobody acknowledges (i2c-bcm2835.c) and for a
// transfer that does not end.
const (
	errNoAck   = syscall.EREMOTEIO
	errTimeout = syscall.ETIMEDOUT
)
