// Package furnace is a wood-fired warm-air furnace with its chimney, its barometric
// regulator and its plenum fan, as a small set of ordinary differential equations.
//
// It is what the bench's virtual chips measure. It is meant to move the way a burn
// moves (lighting, warm-up, clean burn, coals; reload, open door, gusts, reversed
// draft, stuck regulator, chimney fire), not to predict a particular appliance: its
// constants are plausible ones, tuned by eye against common practice, and no
// judgement about a real fire may be drawn from it.
//
// The model is pure and deterministic: the same Config, seed and calls give the same
// burn on one machine, however the time is cut into Advance calls, because it steps
// by a fixed 0.2 s inside.
package furnace
