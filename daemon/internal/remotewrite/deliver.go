package remotewrite

import (
	"context"
	"math/rand/v2"
	"time"
)

const (
	// mostSplits bounds how many requests one batch may cost beyond its own.
	mostSplits = 24
	// stuck is how long one batch may fail by an error within the receiver before the one
	// behind it is tried: the fault may be the batch's.
	stuck = 15 * time.Minute
)

// delivery is one batch on its way.
type delivery struct {
	*Sender
	batch  *batch
	splits int
	began  time.Time
	// atFault says that it is the batch that breaks the receiver.
	atFault bool
}

// settle sends moments, in halves where the whole is refused, and returns how many samples
// were taken. The oldest go first: a receiver that has seen the newer may not take the older
// any more. Where nothing of the last batch was taken because of its age, only the newer half
// is looked into.
// It reports whether ctx goes on.
func (d *delivery) settle(ctx context.Context, moments []moment, whole bool) (got int, ok bool) {
	all, n := d.layout.gather(moments)
	a, ok := d.insist(ctx, all, n)
	switch {
	case !ok:
		return 0, false
	case a.verdict == taken || a.verdict == refused && a.stored >= 0 && d.protocol == v2:
		// With 2.0 a receiver looks at each sample, and says how many it could take.
		got = n
		if a.stored >= 0 {
			got = min(a.stored, n)
		}
		d.drop(refusedPart, n-got)
		return got, true
	case a.verdict == expired:
		d.drop(tooOld, n)
		return 0, true
	case len(moments) == 1, a.verdict == refused && (whole || d.splits <= 0):
		d.drop(refusedPart, n)
		return 0, true
	}
	half := len(moments) / 2
	for i, part := range [][]moment{moments[:half], moments[half:]} {
		d.splits--
		more, ok := d.settle(ctx, part, i == 0 && d.hopeless && a.past)
		if !ok {
			return got, false
		}
		got += more
	}
	return got, true
}

// insist sends until there is an answer that settles it.
func (d *delivery) insist(ctx context.Context, all []series, n int) (answer, bool) {
	wait, foreigns := firstPause, 0
	for {
		a := d.client.post(ctx, d.protocol, d.protocol.body(all))
		if ctx.Err() != nil {
			return a, false
		}
		d.tell(a, n)
		switch a.verdict {
		case taken, refused, tooMuch:
			return a, true
		case foreign:
			d.otherProtocol()
			if foreigns++; foreigns == 1 {
				continue
			}
		}
		if a.broken && (d.atFault || time.Since(d.began) > stuck && d.nextIsTaken(ctx)) {
			d.atFault, a.verdict = true, refused
			return a, true
		}
		if !pause(ctx, max(a.pause, time.Duration(rand.Int64N(int64(wait)))+1)) {
			return a, false
		}
		wait = min(2*wait, mostPause)
		if d.batch.next.Wall < d.oldest() {
			return answer{verdict: expired, stored: -1}, true
		}
	}
}

// nextIsTaken tries the moment behind a batch that fails and fails. If that is taken the
// batch may be lost to a receiver that takes nothing older: one batch, and not all that
// come.
func (d *delivery) nextIsTaken(ctx context.Context) bool {
	next, err := d.collect(ctx, d.batch.next)
	if err != nil || len(next.moments) == 0 {
		return false
	}
	all, n := d.layout.gather(next.moments[:1])
	a := d.client.post(ctx, d.protocol, d.protocol.body(all))
	d.tell(a, n)
	return a.verdict == taken
}
