// Package bus opens the buses that the chips sit on and says in plain words why a bus
// cannot be opened or a transfer failed.
//
// One call serves the board and the bench: a path under /dev is a device file, any
// other name is looked up in periph's registry, where a bench puts its virtual buses.
// Opening errors are faults that name the overlay, module or group that is missing;
// transfer errors keep the kernel's errno, which is what tells a chip that does not
// answer from a bus that is held down. No bus is opened twice in one process, because
// two drivers on one chip select would take each other's answers without an error.
package bus
