// Package path is what happens to a chip's samples between the look and the board: the
// median of a burst of looks, the rejection of spikes, and the faults that one look
// cannot show because they are in how looks follow each other: a value that is frozen,
// thermocouple wires that are swapped, terminals that jump, a hose in which nothing moves.
//
// Nothing here makes a number up: a spike is withheld, and the sample before it ages. A
// rise that a sheathed probe can follow is never withheld, one that it cannot for one
// look at most. Each step counts what it did.
//
// Two steps are deliberately elsewhere. The draft is averaged against wind by the analysis,
// which also needs it unaveraged, to see it turn. The sheath's lag is undone where frames
// are made, by the estimator of package signal with its bounded noise.
package path
