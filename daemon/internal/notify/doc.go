// Package notify tells people of alarms, in time and no oftener than helps.
//
// A Desk decides, purely, who is told what and when: it takes what became of alarms and of
// deliveries, with the time, and says which messages are due. For each person and transport
// there is one lane with one message on its way at most, and what a lane sends is made of
// what holds when it is sent: an outage therefore ends in one message and never in a flood
// of what is long over, and nothing grows with its length. A Courier runs a Desk: it waits
// until an alarm is durable, carries messages through transports, and keeps the Desk's
// memory over restarts.
//
// Nothing here raises, clears or silences an alarm. A telephone is no safety device.
package notify
