package main

import (
	"context"
	"fmt"
	"log/slog"
	"math/rand/v2"
	"runtime"
	"strings"
	"sync"
	"time"
)

// version is what the sites say that they run.
const version = "fleet"

// Options is what a fleet needs to know.
type Options struct {
	Sites int
	// Broker, CAFile, User and Password are those of each site; in CertFile and KeyFile %s
	// stands for its name.
	Broker, CAFile, CertFile, KeyFile, User, Password string
	Metered                                           bool
	// Write is the address of a receiver of remote write, empty for none; WriteCA who signed its
	// certificate; WriteEvery how far apart requests are.
	Write, WriteCA string
	WriteEvery     time.Duration
	// Period is that of the frames; Past how long the sites have been watched before.
	Period, Past time.Duration
	// Ramp is over how long the sites come up.
	Ramp time.Duration
	// Faults is what goes wrong in each house, an hour.
	Faults float64
	Seed   uint64
	// Raised is told of each alarm that comes up, from several goroutines.
	Raised func(Raised)
	Log    *slog.Logger
}

// Fleet is many sites in one process.
type Fleet struct {
	o     Options
	sites []*site
}

// of puts a site's name into a pattern.
func of(pattern, name string) string { return strings.ReplaceAll(pattern, "%s", name) }

// New builds the houses, in whatever they are doing: some are cold, some are in the middle of a
// burn.
func New(o Options) (*Fleet, error) {
	if o.Sites < 1 || o.Period < 100*time.Millisecond {
		return nil, fmt.Errorf("%d sites with a frame each %v: want one or more, and 100 ms or more", o.Sites, o.Period)
	}
	f := &Fleet{o: o, sites: make([]*site, o.Sites)}
	start := time.Now().Add(-o.Past).Truncate(time.Second)
	errs := make([]error, o.Sites)
	f.each(func(i int) {
		rng := rand.New(rand.NewPCG(o.Seed, uint64(i)))
		r := &regions[i%len(regions)]
		h := newHouse(r, rng, start)
		for age := time.Duration(rng.Int64N(int64(3 * time.Hour))); h.passed < age; {
			h.pass(time.Minute, start.Add(h.passed-age))
		}
		boot := fmt.Sprintf("%08x%08x", uint32(start.Unix()), i)
		f.sites[i], errs[i] = newSite(siteName(i), boot, h, start.Add(f.phase(i)), &f.o)
	})
	for _, err := range errs {
		if err != nil {
			return nil, err
		}
	}
	return f, nil
}

// siteName is what a site is called: its region, and a number.
func siteName(i int) string { return fmt.Sprintf("%s-%04d", regions[i%len(regions)].name, i) }

// phase is how far a site's ticks stand behind the first's: they share the period.
func (f *Fleet) phase(i int) time.Duration {
	return (f.o.Period * time.Duration(i) / time.Duration(f.o.Sites)).Truncate(time.Millisecond)
}

// each calls do for every site, as many at a time as there are processors.
func (f *Fleet) each(do func(i int)) {
	var all sync.WaitGroup
	workers := runtime.GOMAXPROCS(0)
	for w := range workers {
		all.Go(func() {
			for i := w; i < len(f.sites); i += workers {
				do(i)
			}
		})
	}
	all.Wait()
}

// Run lets the fleet burn until ctx ends.
func (f *Fleet) Run(ctx context.Context) {
	// What has been is played as fast as it goes, to the same tick at every site: whoever is one
	// ahead would have those behind it wait for a whole period, each time.
	last := time.Duration(0)
	for time.Since(f.sites[0].start) > last+2*f.o.Period && ctx.Err() == nil {
		last = time.Since(f.sites[0].start).Truncate(f.o.Period) - f.o.Period
		f.each(func(i int) {
			for s := f.sites[i]; s.at < last && ctx.Err() == nil; {
				s.tick(s.at + s.period)
			}
		})
	}
	var all sync.WaitGroup
	for i, s := range f.sites {
		all.Go(func() {
			select {
			case <-ctx.Done():
			case <-time.After(f.o.Ramp * time.Duration(i) / time.Duration(len(f.sites))):
				s.run(ctx)
			}
		})
	}
	workers := runtime.GOMAXPROCS(0)
	for w := range workers {
		all.Go(func() {
			for ctx.Err() == nil {
				for i := w; i < len(f.sites); i += workers {
					f.sites[i].now(ctx)
				}
			}
		})
	}
	all.Wait()
}

// now waits for the site's next tick and takes it. Ticks that this machine has no time for are
// left out.
func (s *site) now(ctx context.Context) {
	next := s.at + s.period
	wait := time.Until(s.start.Add(next))
	if behind := -wait / s.period; behind > 0 {
		s.missed.Add(uint64(behind))
		next += behind * s.period
	}
	if wait > 0 {
		select {
		case <-ctx.Done():
			return
		case <-time.After(wait):
		}
	}
	s.tick(next)
}

// Stats is how the fleet does.
type Stats struct {
	Connected                                  int // sites
	Connects, Published, Failed, Dropped       uint64
	Pending                                    int    // messages
	Frames, Missed                             uint64 // taken, and left out for want of time
	Standing                                   int    // alarms
	WriteRequests, WriteSamples, WriteFailures uint64
}

// Stats sums up.
func (f *Fleet) Stats() (t Stats) {
	for _, s := range f.sites {
		p := s.publisher.Stats()
		if p.Connected {
			t.Connected++
		}
		t.Connects, t.Published = t.Connects+p.Connects, t.Published+p.Published
		t.Failed, t.Dropped, t.Pending = t.Failed+p.Failed, t.Dropped+p.Dropped, t.Pending+p.Pending
		t.Missed += s.missed.Load()
		if st := s.feed.Latest(); st != nil {
			t.Frames += st.Seq
			for _, a := range st.Assessment.Alarms {
				if a.State.Standing() {
					t.Standing++
				}
			}
		}
		if s.sender != nil {
			w := s.sender.Stats()
			t.WriteRequests, t.WriteSamples = t.WriteRequests+w.Requests["taken"], t.WriteSamples+w.Sent
			t.WriteFailures += w.Requests["failed"] + w.Requests["refused"]
		}
	}
	return t
}
