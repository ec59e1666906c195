// Package mcp9808 reads room or return air from an MCP9808 on I2C.
//
// It is not periph's mcp9808 because that asks for no identity, loses the errno, and
// cannot tell the 0 °C of a chip that has just lost its supply from a temperature; what
// is left of it is one shift, and a test holds that against periph for every word. Here a
// mark in the register of a limit that is not used shows that the chip kept its supply.
//
// Datasheet: MCP9808 DS25095A; the register map also in Linux drivers/hwmon/jc42.c, whose
// family the chip belongs to.
package mcp9808
