package chunk

import "fluewright/analysis/frame"

// Stats sums up samples: those that have a count.
type Stats struct {
	N    int // with a count
	Good int // of these, of good quality
	// Min, Max and Sum are of the counts; zero where N is.
	Min, Max, Sum int64
}

// Add takes one reading in.
func (s *Stats) Add(count int64, q frame.Quality) {
	if q < frame.Suspect {
		return
	}
	o := Stats{N: 1, Min: count, Max: count, Sum: count}
	if q == frame.Good {
		o.Good = 1
	}
	s.Merge(o)
}

// Merge takes in what another has summed up.
func (s *Stats) Merge(o Stats) {
	switch {
	case o.N == 0:
		return
	case s.N == 0:
		*s = o
		return
	}
	s.N += o.N
	s.Good += o.Good
	s.Sum += o.Sum
	s.Min = min(s.Min, o.Min)
	s.Max = max(s.Max, o.Max)
}

// Sum sums up samples.
func Sum(samples []Sample) Stats {
	var s Stats
	for _, v := range samples {
		s.Add(v.Count, v.Quality)
	}
	return s
}
