//go:build !linux

package app

import "time"

// kernelSynchronised cannot be asked here: the clock is not trusted.
func kernelSynchronised() bool { return false }

// kernelBoot cannot be asked here.
func kernelBoot() (id string, age func() time.Duration) { return "", nil }
