// Package noise makes random numbers for tests that are the same on every architecture, to the
// bit: what a night comes to must not depend on where it is played.
package noise

// Source is a linear congruential generator (the multiplier is Knuth's, of MMIX); its value is
// the seed.
type Source uint64

// Next returns a number from 0 to 1, without 1.
func (s *Source) Next() float64 {
	*s = *s*6364136223846793005 + 1442695040888963407
	return float64(float64(*s>>11) / (1 << 53)) // rounded: a compiler might fuse it with a sum
}

// Normal returns a nearly normal number with a standard deviation of one: the sum of twelve
// uniform ones less six.
func (s *Source) Normal() float64 {
	sum := -6.0
	for range 12 {
		sum += s.Next()
	}
	return sum
}
