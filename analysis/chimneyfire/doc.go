// Package chimneyfire tells a fire of the deposit in the chimney from a fire in the
// appliance that is too hot.
//
// The deposit burns behind the collar, so heat appears where the gas should only cool:
//
//   - the draft rises beyond what the gas at the collar explains. Buoyancy goes with
//     1/To − 1/Tm (kelvin, outdoors and column); with gas at 250 °C and frost outdoors
//     even infinitely hot gas could but double it, so that collar and draft can be held
//     against each other without knowing the chimney. A column fills with heat over tens
//     of seconds and the collar follows; a gate, a fan or a door moves the draft within
//     moments, so the way it comes up is a sign too;
//   - the column roars: pressure noise faster than wind, which has its swings over
//     seconds and takes the draft back again and again, and without the beat of a gate
//     that hangs loose. Where a regulator holds the draft, noise is all there is;
//   - the collar climbs by several kelvin a second (a quick over-fire by one, a very
//     quick one by three), or, when all of the fire is above it, falls or stays while
//     the draft surges;
//   - firebox and chamber, being upstream, do not explain it, and where the gas cooled on its
//     way so far the collar gets hotter than they are.
//
// No sign decides alone: a gust surges, a storm roars, kindling climbs. Each sign is
// turned into evidence, a natural logarithm of odds by estimate, and the sum is judged.
// A door, and a draft that sags (an open ash door drives the fire by air), speak against.
// What counts as calm is the site's own last minutes, held as they were while a fire is
// suspected, so that a long one does not become the custom.
package chimneyfire
