// Package forecast says where a temperature that has a limit is going: its state with its
// uncertainty, how far it will still rise, when it passes the limit, and whether the rise
// limits itself. It changes when that judgement does; why it rises is package cause.
//
// # The model
//
// A fire's rise is limited by something: by air, when the damper or the regulator lets no
// more in; by fuel, when the flames have taken hold of all of it; by the appliance's own
// air control. Each of these shows in the rise itself before it shows in the level: the
// slope falls. With s the slope and c its rate of change, the rise that is left is
//
//	s·D·(1 − exp(−h/D)), D = −s/c, within the horizon h
//
// which is exact for a first-order approach to a new balance (what a heated mass does) and
// twice too much for a parabola. A rise that does not slow down has no D of its own; it is
// believed for as long as fires in the state at hand go on rising, and no longer. What is
// new about a slope, on top of the one that lasted for minutes, is flames that have taken
// hold of something: it is believed to add what it has added already.
//
// What came of a furnace's own rises is the best that is known of the next one: where as
// steep ones ended below the limit again and again, a probability counts for less, as long
// as there is time to wait. See past.
//
// The probability that the limit is passed takes the error of slope and curvature from the
// filter's covariance and that of the model as a share of the rise itself. Its distribution
// is the logistic one.
//
// SI: °C, K, s. The same bits on every architecture: see package portable.
package forecast
