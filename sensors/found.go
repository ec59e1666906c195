package sensors

// Found is a chip that was recognised by asking it, with nothing known beforehand. Each
// driver's Identify makes one; what it may send to a stranger is written beside it.
type Found struct {
	// Chip is the part as the configuration calls it, or the family if the part cannot be
	// told.
	Chip string
	// Detail is what the chip says of itself: revision, serial number, how it is set.
	Detail string
	// Measuring: it measures already, for a program that is not known. It must be left as
	// it is: Sensor only reads it, or is nil where even that would disturb.
	Measuring bool
	Sensor    Sensor
}
