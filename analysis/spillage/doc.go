// Package spillage tells when the chimney no longer takes the flue gas while something
// burns or glows, so that it comes into the house.
//
// A draft at or below zero says so, within what a pressure sensor's zero may be off; what
// is no more than that must last a little over a fire. A chimney in a storm passes through
// zero for seconds and comes back; one that stalls hovers about zero. The judge therefore
// follows a draft of which no more than a little counts, so that a gust is worth its time
// and not its strength, and once it has turned asks for more than a flutter to call it
// right again. How long it must have turned before a person is disturbed is the alarm's
// hold time and not known here.
package spillage
