package notify

import (
	"context"
	"errors"
	"slices"
	"time"

	"fluewright/analysis/alarm"
)

// ErrTaken says that an occurrence was acknowledged before.
var ErrTaken = errors.New("somebody has acknowledged it before")

// fromBefore is how far back answers are asked for at the start: somebody may have pressed
// the button while the program was down. An answer to an older occurrence does nothing.
const fromBefore = "12h"

// mostRemembered is how many tokens are known that were taken: the server gives them again,
// and whoever reads the topic can post them again.
const mostRemembered = 64

// answerers lists the transports that people can answer through, one for each topic.
func (c *Courier) answerers() []*Push {
	var names []string
	for n := range c.o.Transports {
		names = append(names, n)
	}
	slices.Sort(names)
	var all []*Push
	for _, n := range names {
		p, ok := c.o.Transports[n].(*Push)
		if !ok || p.Answers == "" || slices.ContainsFunc(all, func(q *Push) bool {
			return q.Server == p.Server && q.Answers == p.Answers
		}) {
			continue
		}
		all = append(all, p)
	}
	return all
}

// listen takes answers until ctx ends.
func (c *Courier) listen(ctx context.Context, p *Push) {
	since, failures := fromBefore, 0
	var taken []string
	for ctx.Err() == nil {
		began := time.Now()
		var err error
		since, err = p.Listen(ctx, since, func(token string) {
			if slices.Contains(taken, token) || !c.answered(ctx, token) {
				return
			}
			if taken = append(taken, token); len(taken) > mostRemembered {
				taken = taken[1:]
			}
		})
		if time.Since(began) > time.Minute {
			failures = 0
		}
		if failures == 0 && err != nil && ctx.Err() == nil {
			c.o.Log.Warn("answers cannot be read; it is tried again", "error", err)
		}
		pause := backoff(failures, c.o.Random())
		failures++
		var r *Refusal
		if errors.As(err, &r) {
			pause = max(pause, r.After)
		}
		select {
		case <-ctx.Done():
		case <-time.After(pause):
		}
	}
}

// answered takes one answer, and reports whether it is settled. Anybody may post there, so
// that nothing costs more than a look at its seal before that is known to be ours.
func (c *Courier) answered(ctx context.Context, token string) bool {
	if IsTest(token) {
		return false // of a test that somebody makes beside us
	}
	acks, err := c.sealer.Open(token)
	if err != nil {
		c.counted(0, 1)
		return false
	}
	settled := true
	for _, a := range acks {
		err := c.o.Acknowledge(ctx, a)
		switch {
		case err == nil:
			c.counted(1, 0)
			c.o.Log.Info("acknowledged from a message", "alarm", a.Key.String(), "occurrence", a.Occurrence, "by", a.By)
		case errors.Is(err, ErrTaken), errors.Is(err, alarm.ErrOtherOccurrence), errors.Is(err, alarm.ErrNoSuchAlarm): // of long ago
		default:
			settled = false
			c.o.Log.Warn("an acknowledgement was not taken", "alarm", a.Key.String(), "by", a.By, "error", err)
		}
	}
	return settled
}

func (c *Courier) counted(acknowledged, unaccepted uint64) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.stats.Acknowledged += acknowledged
	c.stats.Unaccepted += unaccepted
}
