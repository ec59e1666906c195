// Package devfs shows a bench's buses as device files, so that a daemon which knows
// nothing of benches reads them through the kernel's ioctl path.
//
// Show makes character devices of them, with the kernel's module cuse, for a machine that
// has nothing else: who may open one is then up to owner, group and mode, and to the
// device list of a unit. Mount does with a directory, anywhere.
//
// Mount is a FUSE server (Linux, root) whose files, i2c-1, spidev0.0 and so on, answer the
// ioctls of Documentation/i2c/dev-interface.rst and Documentation/spi/spidev.rst. They
// are regular files, not character devices. FUSE hands over what an ioctl's number
// says it carries; the buffers that such a structure points at are read and written in
// the caller's memory with process_vm_readv and process_vm_writev. Callers must have
// 64-bit pointers: 32-bit ones lay out the structures differently, and go-fuse v2.12.1
// does not compile for 32-bit Linux, so that there is no server for it either.
//
// While the server's process is stopped, a caller that waits in an ioctl cannot even be
// killed: whoever stops the one must continue or kill it before waiting for the other.
package devfs
