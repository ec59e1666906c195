// Package analysis understands the burn: from frames of readings to an assessment of
// phase, draft and alarms.
//
// It is pure: no input or output, clock, goroutine or random. The same frames give the
// same assessments, bit for bit, live and in replay, on every architecture; products
// that feed a sum are wrapped in float64 so that no compiler fuses them. Values are SI.
package analysis
