// Package drive holds the draft of a burning chimney against what drives it. It changes
// when the way of comparing the two does; what the comparison says of the regulator is
// package gate, what it says of the chimney is package flueway.
//
// The drive is the buoyancy of a metre of a column at the flue's temperature,
// g p/R (1/To - 1/Tf), in Pa/m. A chimney that nothing regulates leaves a draft nearly
// in proportion to its drive, since the flow, and with it the loss, goes with the draft;
// a barometric regulator holds the draft while the drive rises. The ratio of the two is
// a length, and the exponent of draft in drive is a pure number, the same for a short
// chimney and a tall one, a small furnace and a large one:
//
//	d ln(draft)/d ln(drive)   0.1 to 0.3 with a working gate that is open
//	                          0.7 to 1.4 with a gate that does not move, or none
//
// (computed with package regulator: 4 to 12 m, 130 to 200 mm, steel and brick, -20 to
// 12 °C, flue from 100 to 300 °C; stuck open with a third of its area. A gate that stands
// wide open fills the column with room air, whose draft hardly asks for the fire.)
//
// Zero values have seen nothing. SI; pure, and the same bits on every architecture.
package drive
