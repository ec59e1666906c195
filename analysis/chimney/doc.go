// Package chimney computes the draft of a chimney and what becomes of the gas in it: how
// it cools, what the flow costs, whether the wall stays above the dew point. It changes
// when the model of the chimney does; what the gas is made of is package gas, and what a
// regulator does to the flow is package regulator.
//
// # The model
//
// One appliance, a connector and a chimney, each a round section with one wall, solved one
// after the other in the manner of EN 13384-1: the gas cools exponentially along the
// section, is lighter than the air outside, and loses pressure to friction and fittings.
// The text of the standard was not at hand: its published relatives (EN 13084-1 Annex A
// for the cooling number and the transmittance) agree in form, the rest is from memory,
// checked for dimensions and run end to end. A certified calculation needs the standard.
//
// # Signs and units
//
// SI: °C, Pa, m, kg/s, W. Draft is positive when the chimney pulls, measured at the
// appliance's collar between the room and the flue.
//
// # Reproducibility
//
// The same bits on every architecture: see package portable. Solving allocates nothing.
package chimney
