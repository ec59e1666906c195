// Package mcp9600 drives the thermocouple converters MCP9600 and MCP9601 over I2C, with
// their cheaper kin L00, L01, RL00 and RL01, which answer alike and are less accurate.
//
// Nothing protects the chip's words, and a bus that does not wait while the chip holds
// the clock is handed the bytes of the transfer before, without an error (section 4.1.7);
// boards with a BCM2835 to 2711 are such. So each sample is read in an order in which
// repeated bytes show: hot junction, difference and cold junction, the first of which is
// the sum of the others (section 5.1.1), then identity and configuration. A look takes
// the values only when the status says that a conversion has ended, and clears that bit.
// Out of range, the chip leaves the old temperature standing; that is a fault here.
//
// The MCP9600 cannot tell an open thermocouple from a temperature near that of its
// terminals (section 6.3.3); the MCP9601 can.
//
// Datasheet: MCP9600/L00/RL00, MCP9601/L01/RL01, DS20005426G; figures of revision C
// (DS20005426C) where said. Sections below are its.
package mcp9600
