package remotewrite

import (
	"context"
	"log/slog"
	"sync"
	"time"

	dto "github.com/prometheus/client_model/go"

	"fluewright/analysis/frame"
	"fluewright/daemon/internal/history"
)

const (
	// firstPause and mostPause bound how long is waited after a failure: half of it on
	// average, doubled each time.
	firstPause = time.Second
	mostPause  = 5 * time.Minute
	// pace is the pause between batches when hours are made up for.
	pace = 250 * time.Millisecond
	// backwards is how much older than the newest sample of all another may be for every
	// receiver: Prometheus without an out-of-order window takes an hour, half of its block.
	backwards = 50 * time.Minute
	// keptEvery is how often the cursor is kept: what is sent twice after a power cut costs
	// less than flash.
	keptEvery = 10 * time.Minute
)

// Options is one destination.
type Options struct {
	// Name tells destinations apart; it is part of a file's name.
	Name string
	URL  string
	// Newer begins with version 2.0 of the protocol.
	Newer bool
	// Interval is how far apart samples are, Every how far apart requests.
	Interval, Every time.Duration
	// BackFill is how old a sample may be.
	BackFill time.Duration
	// User and PasswordFile, or TokenFile; neither for none.
	User, PasswordFile, TokenFile string
	// CAFile replaces the certificates that are trusted; CertificateFile and KeyFile show who
	// we are.
	CAFile, CertificateFile, KeyFile string
	// Tenant is for receivers that serve many.
	Tenant string

	Site, Software string
	Fitted         [frame.Count]bool
	// Dir is where the cursor is kept; empty: it is not.
	Dir string
	// Follow reads the history.
	Follow func(context.Context, history.Position) ([]history.Followed, int64, error)
	// Live gives what a scrape would, and Trusted says whether the wall clock is synchronised.
	Live    func() ([]*dto.MetricFamily, error)
	Trusted func() bool
	Log     *slog.Logger
}

// Sender sends to one destination.
type Sender struct {
	o      Options
	client *client
	layout *layout
	live   *live
	wake   chan struct{}

	// What follows belongs to Run.
	at       cursor
	kept     cursor
	keptAt   time.Time
	protocol *protocol
	barren   int // batches since one of which something was taken

	mu    sync.Mutex // guards stats
	stats Stats
	fails bool // said and not over
}

// New returns a sender, and fails if its certificates cannot be read.
func New(o Options) (*Sender, error) {
	s := &Sender{o: o, layout: newLayout(o.Site, o.Fitted, o.Interval), wake: make(chan struct{}, 1), protocol: v1}
	s.live = newLive(o.Site, o.Every)
	if o.Newer {
		s.protocol = v2
	}
	s.stats = newStats(o.Name)
	s.stats.Protocol = s.protocol.version
	var err error
	if s.client, err = newClient(&s.o); err != nil {
		return nil, err
	}
	return s, nil
}

// Wake makes the sender send now: an alarm has changed. It never waits.
func (s *Sender) Wake() {
	select {
	case s.wake <- struct{}{}:
	default:
	}
}

// Run sends until ctx ends. Nothing that a receiver does ends it.
func (s *Sender) Run(ctx context.Context) error {
	var err error
	if s.at, err = load(s.o.Dir, s.o.Name); err != nil {
		s.o.Log.Error("remote write begins anew", "destination", s.o.Name, "error", err)
	}
	s.kept, s.keptAt = s.at, time.Now()
	defer s.keep(0)
	for {
		s.round(ctx)
		if !s.sleep(ctx, s.o.Every) {
			return nil
		}
	}
}

// sleep waits, or until it is woken, and reports whether ctx goes on.
func (s *Sender) sleep(ctx context.Context, d time.Duration) bool {
	t := time.NewTimer(d)
	defer t.Stop()
	select {
	case <-ctx.Done():
		return false
	case <-t.C:
	case <-s.wake:
		return pause(ctx, pace) // alarms come together
	}
	return ctx.Err() == nil
}

// pause waits and is not woken: the receiver or its line needs it.
func pause(ctx context.Context, d time.Duration) bool {
	t := time.NewTimer(d)
	defer t.Stop()
	select {
	case <-ctx.Done():
		return false
	case <-t.C:
		return true
	}
}

// round sends what there is: first how it is now, if the receiver then still takes the rows
// that it lacks, and else in the order of time.
func (s *Sender) round(ctx context.Context) {
	told := time.Since(time.UnixMilli(s.at.Wall)) < backwards && s.sendLive(ctx)
	for ctx.Err() == nil {
		b, err := s.collect(ctx, s.at)
		if err != nil {
			// The history says itself what is wrong with it. What is now can still be told.
			s.o.Log.Debug("remote write cannot read the history", "destination", s.o.Name, "error", err)
			break
		}
		s.count(func(st *Stats) {
			st.Dropped[noTime] += uint64(b.noTime)
			st.Dropped[tooOld] += uint64(b.tooOld)
		})
		if len(b.moments) > 0 && !s.deliver(ctx, b) {
			return
		}
		s.at = b.next
		if !b.full() {
			if !b.waits {
				s.count(func(st *Stats) { st.Pending, st.Oldest = 0, time.Time{} })
			}
			break
		}
		s.keep(0) // or batches would be sent again
		if !pause(ctx, pace) {
			return
		}
	}
	if !told {
		s.sendLive(ctx)
	}
	s.keep(keptEvery)
}

// collect makes the batch that comes behind a cursor.
func (s *Sender) collect(ctx context.Context, from cursor) (*batch, error) {
	b := &batch{next: from}
	for !b.full() && !b.waits {
		rows, behind, err := s.o.Follow(ctx, b.next.Position)
		if err != nil {
			return nil, err
		}
		if b.next == from {
			s.pending(behind, rows)
		}
		if len(rows) == 0 {
			break
		}
		s.layout.take(b, rows, s.oldest())
	}
	return b, nil
}

// oldest is the earliest time that is sent, ms since 1970. By a clock that nobody vouches for
// nothing is too old.
func (s *Sender) oldest() int64 {
	if !s.o.Trusted() {
		return 0
	}
	return time.Now().Add(-s.o.BackFill).UnixMilli()
}

// deliver brings a batch to its end, whatever it takes: the receiver has it, or has refused
// it. It reports whether ctx goes on.
func (s *Sender) deliver(ctx context.Context, b *batch) bool {
	lost := s.lost()
	got, ok := (&delivery{Sender: s, batch: b, began: time.Now()}).settle(ctx, b.moments)
	if n := s.lost() - lost; n > 0 {
		s.o.Log.Warn("samples are given up, because the receiver has them or will not have them", "destination", s.o.Name, "samples", n)
	}
	if s.barren++; got > 0 {
		s.barren = 0
	}
	return ok
}

// otherProtocol goes over to the version that the receiver may speak.
func (s *Sender) otherProtocol() {
	if s.protocol == v2 {
		s.protocol = v1
	} else {
		s.protocol = v2
	}
	s.count(func(st *Stats) { st.Protocol = s.protocol.version })
}

// sendLive sends what is in no row, as it is now, and reports whether it was taken. It is not
// insisted on.
func (s *Sender) sendLive(ctx context.Context) bool {
	if !s.o.Trusted() || ctx.Err() != nil {
		return false
	}
	families, err := s.o.Live()
	if err != nil {
		s.o.Log.Warn("not all could be gathered", "destination", s.o.Name, "error", err)
	}
	now := time.Now().UnixMilli()
	for ; ; s.otherProtocol() {
		all := s.live.series(families, now)
		if len(all) == 0 {
			return true
		}
		was := s.protocol
		a := s.client.post(ctx, s.protocol, s.protocol.body(all))
		if ctx.Err() != nil {
			return false
		}
		s.tell(a, len(all))
		if a.verdict == taken {
			s.live.taken(all)
		}
		if a.verdict != foreign || was == v1 {
			return a.verdict == taken
		}
	}
}

// keep keeps the cursor if that was not done for a while.
func (s *Sender) keep(every time.Duration) {
	if s.o.Dir == "" || s.at == s.kept || time.Since(s.keptAt) < every {
		return
	}
	s.keptAt = time.Now()
	if err := s.at.save(s.o.Dir, s.o.Name); err != nil {
		s.o.Log.Error("after a restart some would be sent again", "error", err)
		return
	}
	s.kept = s.at
}
