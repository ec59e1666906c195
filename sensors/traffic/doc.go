// Package traffic keeps what went over the buses as a text file, and plays such a file
// to the drivers again, so that what a chip did in a basement becomes a test.
//
// The file is lines. The first is "fluewright bus traffic 1"; what is empty or begins
// with "#" is a remark; every other line is one transfer, in the order in which they
// ended:
//
//	TIME i2c BUS ADDRESS [w BYTES] [r BYTES] [! ERRNO TEXT]
//	TIME spi PORT MODE   [w BYTES] [r BYTES] [! ERRNO TEXT]
//
// TIME is seconds since the first transfer began; ADDRESS is hexadecimal with 0x; MODE is
// 0 to 3; BYTES are hexadecimal. What follows "!" is the error of a transfer that failed:
// the system's number (0 if there was none) and the error's text; "r" is followed by the
// bytes asked for, as zeros, since none are known to have come. For example:
//
//	fluewright bus traffic 1
//	0.000 i2c /dev/i2c-1 0x76 w d0 r 60
//	0.001 i2c /dev/i2c-1 0x25 r 000000000000000000 ! 121 remote I/O error
//	0.002 spi /dev/spidev0.0 1 w 0c000000 r ff064f00
//
// A playback gives each bus its transfers back in this order and takes no other: it
// checks that the driver says the same, byte for byte. It has no time of its own.
package traffic
