// Package scan is the reading loop of a bus: one goroutine that polls the chips on it,
// starts again what has failed and keeps the latest of each on a board.
//
// Between look and board lies the path of the chip (package path): it withholds spikes, and finds the
// faults that one look cannot show.
//
// The loop decides when to try again, the board what a reader may believe. A look that
// gave nothing leaves the last sample as it is until it is too old; a fault that the chip
// or the bus has diagnosed takes the value away at once; a transfer that merely failed
// does so after two periods, since one such failure an hour is what a bus beside a blower
// looks like. Age is judged by the reader's own clock, so that a loop that hangs in the
// kernel cannot keep a number alive.
package scan
