// Package plausible holds readings against each other and against what a furnace can do:
// a probe that was pulled out, a hose that is off, blocked or on the wrong port, a
// pressure sensor whose zero has drifted. No chip can tell these; who knows of the fire
// can.
//
// A finding makes a reading suspect and names what is likely. It never makes it vanish,
// and never quiets a hazard: what looks like a hose on the wrong port may be flue gas in
// the house, so both are said.
package plausible
