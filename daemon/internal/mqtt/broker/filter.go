package broker

import "strings"

// overlap reports whether there is a topic that two filters (MQTT 3.1.1, section 4.7) both
// match. A topic is a filter too, one that matches itself.
func overlap(a, b string) bool {
	moreA, moreB := true, true
	for {
		switch {
		case !moreA && !moreB:
			return true
		case first(a, moreA) == "#" || first(b, moreB) == "#":
			return true // it matches the level above too, so the other may have ended
		case !moreA || !moreB:
			return false
		}
		x, y := first(a, moreA), first(b, moreB)
		if x != y && x != "+" && y != "+" {
			return false
		}
		_, a, moreA = strings.Cut(a, "/")
		_, b, moreB = strings.Cut(b, "/")
	}
}

// first is the first level of what is left of a filter; more says whether anything is.
func first(s string, more bool) string {
	if !more {
		return ""
	}
	level, _, _ := strings.Cut(s, "/")
	return level
}

// overlapAny reports whether a filter overlaps one of several.
func overlapAny(filter string, of []string) bool {
	for _, f := range of {
		if overlap(filter, f) {
			return true
		}
	}
	return false
}
