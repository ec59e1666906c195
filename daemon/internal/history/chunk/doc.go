// Package chunk packs the readings of one channel over some minutes: integer counts at
// rising times, each with its quality.
//
// A chunk is, in this order (uvarint and zig-zag as in encoding/binary):
//
//	byte     format, 2
//	uvarint  samples
//	uvarint  time of the first, ms from the chunk's start
//	uvarint  usual step, ms
//	uvarint  unusual steps; for each: uvarint samples since the one before, zig-zag difference
//	uvarint  runs of equal quality; for each: uvarint length<<3 | quality
//	zig-zag  first count, if a sample has one
//	uvarint  divisor of all differences between counts, 0 if none differs
//	bits     in blocks of 200: 2 bits guess, 5 bits k, then Rice codes of the zig-zags of
//	         how far each count is from the guess
//	4 bytes  CRC-32C of all that, little endian
//
// Counts here are those above the first, by the divisor. The guess and k are chosen for each
// block; k 31 stands for a block in which every guess is right. A Rice code has
// its quotient in ones, a zero, and k bits; a quotient of 24 or more is written as 24 ones
// and the whole number in 48 bits. Bits fill bytes from the top.
//
// Format 1, which is read but no longer written, has blocks of 64 without a guess: differences
// are from the count before.
//
// The divisor makes readings of a coarse chip on a fine scale cost no more than on its own.
package chunk
