// Package gate judges the barometric regulator of a burning furnace from its draft and its
// temperatures. It changes when the way of judging does; the physics of a gate is package
// regulator, the comparison that the judgement rests on is package drive.
//
// A gate that works opens more the more the chimney draws, so that the draft answers to
// the drive with an exponent of 0.1 to 0.3; one that does not move leaves the chimney to
// itself, exponent about 1. The exponent tells whether the gate moves, the level of the
// draft where it does not. A regulator cannot raise a draft: a low one that follows the
// drive is a gate that stands open or a chimney that is blocked, and from the collar the
// two look much alike. It is called the gate where what is known of the chimney, or the
// burns before, say that the chimney alone would draw far better, the draft rises with the
// drive as through an open gate, and nothing fell at once while the fire burnt: a gate
// sticks where it hangs. All else is left to package flueway.
package gate
