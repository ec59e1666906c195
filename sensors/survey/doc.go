// Package survey finds out what sits on the computer's buses, and looks at it.
//
// It talks only on buses that nobody else has: the lock that package bus takes keeps it
// off a bus that a daemon reads, and addresses that a driver of the kernel holds are left
// out. On a free bus it asks at the addresses where supported chips can be, and nowhere
// else, in a way that leaves a stranger as it was. What is sent, and why that is harmless,
// stands at each chip's Identify; in short:
//
//   - at every such address, a read of one byte; nothing more where nobody answers, but
//     for the SDP8xx, which refuses to be read while it is idle;
//   - the number of a register to read from, which chips with registers take as that;
//   - on SPI, zeros and the numbers of registers to read from.
//
// A chip that already measures for another program is read and not set up. One that the
// caller knows, because a configuration names it, is started as a run would start it.
package survey
