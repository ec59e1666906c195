// Package nights makes nights of a wood-fired warm-air furnace for judging an analysis:
// rows of readings, as a monitor would take them, with the truth beside them. It is test
// equipment. Nothing here is measured; its curves are meant to be ones that a technician
// would believe, and its variety is what it is for.
//
// A night is a furnace (5 to 60 kW, light or heavy), a chimney, a house, the weather, an
// owner who lights and feeds, sensors, and what goes wrong, all drawn from a seed and a
// [Kind]. The same kind and seed give the same night on one machine.
//
//	for _, k := range nights.Kinds() {
//		n := k.Night(7)
//		var row nights.Row
//		for n.Next(&row) {
//			// row.At, row.Values[nights.Flue], …
//		}
//		// n.Site is what the installer knew, n.Truth what really happened.
//	}
//
// # The physics
//
// It shares no equation with package furnace of the bench. Wood is classes of cylinders
// in three rows; heat from coals, brick, flames and gas drives a drying front and behind
// it a pyrolysis front whose speed follows Arrhenius; a layer of charcoal hinders both
// (wood.go). Volatiles burn in the firebox, the chamber and the exchanger as far as air,
// temperature and mixing allow, charcoal as its surface and its air allow (fire.go). Gas
// carries enthalpy, not temperature, so the energy balance closes. The draft is one
// unknown in a pressure network: ten cells of flue, each with liner and jacket, wind,
// house, fans, the regulator's gate, and the appliance's inlets in series with its
// passage (chimney.go, world.go). Each appliance passes a type test on a stand that sets
// its limits (plan.go): the hottest lawful burn stays some 5 to 25 % under them.
//
// A kind is held to its promise: a draw in which a limit is passed or the draft turns
// before anything goes wrong, or in which nothing goes wrong, is thrown away and drawn anew
// (Night.Redrawn says how often). An over-fire need not pass a limit; Truth.Crossings says
// whether one was passed, by the noise-free reading behind its sheath. A regulator that
// shuts and a flue that narrows may turn the draft as well: Truth.Spills has every
// stretch of it. Where a limit is passed, the hazard that lasts then names the cause.
//
// # What falls short
//
// An ordinary door opening lets the gas at the collar dip by 20 to 100 K for as long as the
// door is open and fans the fire a little afterwards; a loading door ajar seldom passes a
// limit, also in its strong form. Carbon monoxide, soot, more than one room and a second
// appliance on the flue are not there.
package nights
