// Package bench is a furnace with its sensors for those who have none at hand: virtual
// chips, register by register as their datasheets describe them, on virtual buses,
// around the furnace of package furnace.
//
// The demo runs on it in process, through periph's registries (see [Bench.Register]);
// package devfs shows the same chips as device files to an unmodified daemon; tests
// break them on purpose. Drivers must not be able to tell the difference: a chip
// answers in its own time on the bench's clock, refuses what the real one refuses, and
// fails in the ways that [Fault] lists.
package bench
