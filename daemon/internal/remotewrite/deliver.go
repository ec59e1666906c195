package remotewrite

import (
	"context"
	"math/rand/v2"
	"time"
)

const (
	// mostBarren is after how many batches of which nothing was taken no moment is asked for by
	// itself any more: more than what is sent again after a power cut.
	mostBarren = 8
	// stuck is how long one batch may fail by an error within the receiver before the one
	// behind it is tried: the fault may be the batch's.
	stuck = 15 * time.Minute
)

// delivery is one batch on its way.
type delivery struct {
	*Sender
	batch *batch
	began time.Time
	// atFault says that it is the batch that breaks the receiver.
	atFault bool
}

// settle sends moments, in parts where the whole is refused, and returns how many samples
// were taken. The oldest go first: a receiver that has seen the newer may not take the older
// any more. It reports whether ctx goes on.
func (d *delivery) settle(ctx context.Context, moments []moment) (got int, ok bool) {
	if len(moments) == 0 {
		return 0, true
	}
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
	case len(moments) == 1:
		d.drop(refusedPart, n)
		return 0, true
	case a.verdict == tooMuch:
		return d.halves(ctx, moments)
	case a.past && d.barren > 0 || d.barren >= mostBarren:
		half := len(moments) / 2
		d.drop(refusedPart, samplesOf(moments[:half]))
		return d.settle(ctx, moments[half:])
	}
	return d.pick(ctx, moments)
}

func (d *delivery) halves(ctx context.Context, moments []moment) (got int, ok bool) {
	half := len(moments) / 2
	if got, ok = d.settle(ctx, moments[:half]); !ok {
		return got, false
	}
	more, ok := d.settle(ctx, moments[half:])
	return got + more, ok
}

// pick finds out what of moments that were refused together is taken. If the first is refused
// it is likely that the receiver has them up to a certain one, as after a power cut here: they
// are asked for one by one until one is taken, because with a later one those before it would
// be lost. Otherwise it is a few in between.
func (d *delivery) pick(ctx context.Context, moments []moment) (got int, ok bool) {
	i := 0
	for got == 0 && i < len(moments) {
		if got, ok = d.settle(ctx, moments[i:i+1]); !ok {
			return got, false
		}
		i++
	}
	next := d.settle
	if i == 1 {
		next = d.halves
	}
	more, ok := next(ctx, moments[i:])
	return got + more, ok
}

func samplesOf(moments []moment) (n int) {
	for _, m := range moments {
		n += len(m.samples)
	}
	return n
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
		d.look(ctx)
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
