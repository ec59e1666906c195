// Package plausible holds readings against each other, against their own course and against
// what a furnace can do: a probe that lies in the room, has slipped or is covered, two
// probes that are exchanged, a value that has stopped, a hose that is off, blocked or on
// the wrong port, a pressure sensor whose zero has drifted. No chip can tell these; who
// knows of the fire can.
//
// What is found rests on what follows from physics: gas only cools on its way, nothing is
// colder than all that surrounds it, no sheath lets a step through, gas that flows is never
// still, a furnace has mass. Where a sensor's fault and a danger look alike (a turned
// draft, none at all, a flue that is hotter than the chamber) nothing is found that would
// quiet the danger: [Distrusts] says which findings take a reading's word away.
//
// An exchange of two probes is known in its very frame, and [Rules.Place] says where each
// of them is now. Wires that were crossed before the first fire show by the order of the
// temperatures, sooner where that order was never seen to be right; a site that leads its
// gas round the chamber while lighting looks the same in the first fire after a start, and
// is believed from the second on.
//
// A probe that drifts in a fire shows by the relations that it had to two others in the
// same gas, at this furnace, while those keep theirs; that finding takes no reading's word
// away, as it may be the fire that has changed.
//
// What it does not find: a drift upwards, which is a danger until somebody knows better; one
// beside fewer than two other probes, or one that is slower than the relations are learned;
// a covered chamber probe that follows the brick, whose reading is within a few per cent of
// the gas'; a slip of a lone flue probe that leaves it more than a third of its rise.
package plausible
