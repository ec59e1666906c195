// Package gate judges the barometric regulator of a burning furnace from its draft and its
// temperatures. It changes when the way of judging does; the physics of a gate is package
// regulator, the comparison that the judgement rests on is package drive.
//
// A gate that works opens more the more the chimney draws, so that the draft answers to
// the drive with an exponent of 0.1 to 0.3; one that does not move leaves the chimney to
// itself, exponent about 1. The exponent tells whether the gate moves, the level of the
// draft where it does not. A regulator cannot raise a draft: one that is far below what the
// chimney gives by itself, as its dimensions or the last sound burn say, is a gate that
// stands open or a flue that is blocked, and from the collar the two look alike. Whoever is
// told of the one must be told to look for the other; see package flueway.
package gate
