// Package sensors says what a chip at the furnace can tell and how it can fail.
//
// It holds the words that every driver speaks: a [Sample] is one look at a chip,
// a [Fault] is why there was none, and a [Reading] is what the rest of the program
// is given: a value that never travels without its quality. Drivers live in one
// folder a chip, in the style of periph.io but with a synchronous Sense that takes a
// context, because periph's continuous readers lose errors.
//
// The package knows nothing of furnaces: which quantity is the flue's and which the
// room's is decided by the configuration, in the daemon.
package sensors
