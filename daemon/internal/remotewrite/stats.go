package remotewrite

import (
	"context"
	"maps"
	"time"

	"fluewright/daemon/internal/history"
)

// Reasons for which samples are not sent, as the metrics name them.
const (
	refusedPart = "refused"  // the receiver will never take them
	tooOld      = "too-old"  // older than the receiver is to get
	noTime      = "no-clock" // the clock was never set while they were measured
)

// Results of requests, as the metrics name them.
var results = map[verdict]string{
	taken: "taken", refused: "refused", tooMuch: "too-large", foreign: "other-version", denied: "denied", later: "failed",
}

// Stats says how a destination does. Counters begin with the program.
type Stats struct {
	Destination string
	// Requests counts them by result, Sent samples that were taken, Dropped samples that never
	// will be, by reason.
	Requests map[string]uint64
	Sent     uint64
	Dropped  map[string]uint64
	// Pending is at most how many rows of the history wait, Oldest when the first of them was;
	// zero if none waits or its time is not known.
	Pending int64
	Oldest  time.Time
	// LastTaken is when a request was last taken; zero if never.
	LastTaken time.Time
	// Protocol is the version that is spoken.
	Protocol string
}

func newStats(name string) Stats {
	s := Stats{Destination: name, Requests: map[string]uint64{}, Dropped: map[string]uint64{}}
	for _, r := range results {
		s.Requests[r] = 0
	}
	for _, r := range []string{refusedPart, tooOld, noTime} {
		s.Dropped[r] = 0
	}
	return s
}

// Stats returns how it does now.
func (s *Sender) Stats() Stats {
	s.mu.Lock()
	defer s.mu.Unlock()
	st := s.stats
	st.Requests, st.Dropped = maps.Clone(st.Requests), maps.Clone(st.Dropped)
	return st
}

func (s *Sender) count(do func(*Stats)) {
	s.mu.Lock()
	defer s.mu.Unlock()
	do(&s.stats)
}

func (s *Sender) drop(reason string, samples int) {
	s.count(func(st *Stats) { st.Dropped[reason] += uint64(samples) })
}

// lost is how many samples were given up, for whatever reason.
func (s *Sender) lost() (n uint64) {
	s.count(func(st *Stats) {
		for _, samples := range st.Dropped {
			n += samples
		}
	})
	return n
}

// look notes what waits now, while what was to be sent does not go.
func (s *Sender) look(ctx context.Context) {
	if rows, behind, err := s.o.Follow(ctx, s.at.Position); err == nil {
		s.pending(behind, rows)
	}
}

// pending notes what waits.
func (s *Sender) pending(behind int64, next []history.Followed) {
	s.count(func(st *Stats) {
		st.Pending, st.Oldest = behind, time.Time{}
		if len(next) > 0 && next[0].Sure {
			st.Oldest = next[0].At
		}
	})
}

// tell counts an answer and says in the log when things go wrong and right.
func (s *Sender) tell(a answer, samples int) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.stats.Requests[results[a.verdict]]++
	if a.verdict == taken {
		s.stats.LastTaken = time.Now()
		if a.stored >= 0 {
			samples = a.stored
		}
		s.stats.Sent += uint64(samples)
	}
	switch {
	case a.why != nil && !s.fails:
		s.o.Log.Warn("remote write fails", "destination", s.o.Name, "error", a.why)
	case a.why == nil && s.fails:
		s.o.Log.Info("remote write goes on", "destination", s.o.Name)
	}
	s.fails = a.why != nil
}
