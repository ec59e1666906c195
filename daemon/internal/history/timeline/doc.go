// Package timeline says when what was recorded really happened.
//
// A run of the program counts milliseconds on a clock that only goes forward. The wall
// clock that it sees beside it is a guess until it is synchronised, and can be stepped. A
// [Watch] notes what a run sees as segments in which the wall clock went straight on;
// [Place] lays all segments of all runs out on the line of real time: in their order, so
// that nothing overlaps, and as true as the trusted ones allow.
//
// It is pure: no clock is read here. All times are whole milliseconds, those of the wall
// since 1970.
package timeline
