//go:build rehearsal

package main

import "fluewright/sensors/bench"

// Built with the tag "rehearsal" the program finds virtual chips at buses that are named
// bench-…, as the demonstration does, and runs as configured otherwise: an emulator of
// another processor does not carry the device files' ioctls. For the tests of what the
// program costs; what is shipped is built without it.
func init() {
	house, err := bench.New(bench.Config{Seed: 1, Every: true})
	if err == nil {
		err = house.Register()
	}
	if err != nil {
		panic(err)
	}
}
