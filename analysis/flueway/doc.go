// Package flueway judges the way of the gas through connector and chimney over weeks. It
// changes when the way of judging does; the physics of a chimney is package chimney, the
// comparison that the judgement rests on is package drive.
//
// Draft and temperature give no flow, so that the resistance itself is not to be had. What
// follows from it is: a fire is a fixed opening whose flow goes with the root of the draft,
// and so the chimney leaves the share 1/(1 + R K) of its drive, R its resistance and K the
// opening's conductance, at every temperature alike. The draft at an equal drive, held
// against that of the first burns or of commissioning, shows R: creosote, a nest, a fallen
// cap take it away. A regulator that works hides the beginning: it closes as R grows, and
// the draft falls only when it hangs shut, which is also when the fire begins to suffer.
//
// Slow loss is told by the median of three burns, so that no single odd burn accuses; one
// that is sudden and large is told at once. Minutes of wind, of an open door, of lighting
// in a cold chimney and over coals do not count, nor does a burn whose regulator is at
// fault. A fan that draws on the house lowers the draft as a blocked flue does: only a loss
// that stays over burns excludes it.
package flueway
