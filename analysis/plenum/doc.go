// Package plenum follows the warm air above the furnace and what it tells of the blower,
// on which nothing reports.
//
// Still air in the plenum follows the exchanger, which climbs by kelvins a minute while a
// fire heats it and nothing cools it: a fire of 10 kW on 150 kJ/K of steel by 4. When the
// blower starts, the plenum turns within a minute, whatever the fire does; it may jump
// first, when the hottest air is pushed past the probe. With the blower running the air's
// rise is the fire's heat over the flow: it can grow no faster than the fire, some minutes
// behind it. So
//
//   - a turn is a start, and where it happened the fan-on temperature;
//   - a plenum that climbs on, beyond where the blower has started before, and faster than
//     the fire explains, is one without flow. An exchanger that nothing cools heats the flue
//     as well, so that the fire is what flue and gas upstream of it both show;
//   - one that climbs far beyond it, to a larger share of the flue's rise than the heat
//     balance of a running blower allows, is one too, also where wood was just laid on;
//   - one that has no more of the flue's rise than running blowers make is none of these;
//   - a plenum that stands still above a hot fire has flow.
package plenum
