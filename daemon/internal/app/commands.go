package app

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"sync"
	"time"

	"fluewright/daemon/internal/command"
	"fluewright/daemon/internal/handout"
	"fluewright/daemon/internal/mqtt"
)

const (
	chunkBytes = 16 << 10
	// How many commands may wait: those that are carried out at once, wishes for a bundle,
	// and pieces of one.
	// tests of the ways to people are one at a time.
	mostAtOnce, mostWishes, mostPieces, mostTests = 32, 4, 8, 1
	// orderTime is how long the loop may take to get to an order: some periods.
	orderTime = 15 * time.Second
	wishTime  = 10 * time.Minute
	// mostRemembered is how many wishes are known with what was made of them, for askers who
	// ask again because the line broke.
	mostRemembered = 8
)

// commands carries out what is asked of the monitor through the broker. What comes is judged
// at once and waits in bounded queues; the loop, which owns time, is asked and never held.
type commands struct {
	gate    *command.Gate
	line    *mqtt.Publisher
	actions *actions
	trusted func() bool
	bundles *handout.Desk // nil where no history is kept
	log     *slog.Logger

	test                         func(context.Context) ([]command.Tried, error) // nil where nobody is told
	small, wishes, pieces, tests chan command.Request

	tested []time.Time // of the worker for tests alone
	made   []fulfilled // of the worker for wishes alone
}

// fulfilled is a wish, and the bundle that was made of it.
type fulfilled struct{ client, wish, bundle string }

func newCommands(log *slog.Logger) *commands {
	return &commands{
		gate: &command.Gate{}, log: log,
		small: make(chan command.Request, mostAtOnce), wishes: make(chan command.Request, mostWishes), pieces: make(chan command.Request, mostPieces),
		tests: make(chan command.Request, mostTests),
	}
}

// oversized counts what was too large to be read.
func (c *commands) oversized() { c.gate.Count(command.Oversized, 1) }

// take judges a command and puts it into a queue. It does not wait.
func (c *commands) take(name string, retained bool, body []byte) {
	r, refused := c.gate.Take(name, retained, body, time.Now(), c.trusted())
	if refused != nil {
		if refused.Reason != command.Flooded {
			c.reply(&r, r.Refused(refused))
		}
		return
	}
	queue := c.small
	switch {
	case r.Name == command.TestAlert:
		queue = c.tests
	case r.Name != command.Trend:
	case r.Trend.Wish != nil:
		queue = c.wishes
	default:
		queue = c.pieces
	}
	select {
	case queue <- r:
	default:
		c.gate.Count(command.Busy, 1)
		c.reply(&r, r.Refused(command.Refuse(command.Busy, "too many others ask: ask again in a minute")))
	}
}

func (c *commands) reply(r *command.Request, a command.Reply) {
	body, err := json.Marshal(a)
	if err != nil {
		c.log.Error("cannot write a reply", "error", err) // cannot be
		return
	}
	c.line.Reply(r.Topic(), body)
}

// run carries out commands until ctx ends: each kind on its own, for a bundle may take
// minutes.
func (c *commands) run(ctx context.Context) error {
	var all sync.WaitGroup
	for _, w := range []struct {
		queue chan command.Request
		do    func(context.Context, *command.Request) (command.Reply, error)
	}{{c.small, c.atOnce}, {c.wishes, c.wish}, {c.pieces, c.piece}, {c.tests, c.testAlert}} {
		all.Go(func() {
			for {
				select {
				case <-ctx.Done():
					return
				case r := <-w.queue:
					c.carryOut(ctx, &r, w.do)
				}
			}
		})
	}
	all.Wait()
	return nil
}

// carryOut does one and replies. A piece that comes has no other reply.
func (c *commands) carryOut(ctx context.Context, r *command.Request, do func(context.Context, *command.Request) (command.Reply, error)) {
	a, err := do(ctx, r)
	var refused *command.Refusal
	switch {
	case ctx.Err() != nil:
	case errors.As(err, &refused):
		c.gate.Count(refused.Reason, 1)
		c.reply(r, r.Refused(refused))
	case err != nil:
		c.gate.Count(command.Storage, 1)
		c.log.Warn("a command could not be carried out", "command", string(r.Name), "error", err)
		c.reply(r, r.Refused(command.Refuse(command.Storage, "it could not be done: %v", err)))
	case a.Result != "":
		c.reply(r, a)
	}
}

// atOnce carries out what takes no time.
func (c *commands) atOnce(ctx context.Context, r *command.Request) (a command.Reply, err error) {
	a = r.Answer()
	switch r.Name {
	case command.Acknowledge:
		err = c.actions.Acknowledge(ctx, r.By, r.Acknowledge.Key(), r.Acknowledge.Occurrence)
	case command.Note:
		err = c.actions.Note(ctx, r.By, *r.Note)
	case command.Live:
		c.line.Live(time.Duration(r.Live.Seconds) * time.Second)
	case command.Snapshot:
		a.State, err = c.line.Snapshot()
	default: // trends have their own queues
	}
	return a, err
}

// wish has a bundle made, and tells its identity. Who asks again gets the same one.
func (c *commands) wish(ctx context.Context, r *command.Request) (a command.Reply, err error) {
	a = r.Answer()
	if c.bundles == nil {
		return a, command.Refuse(command.Nothing, "this monitor keeps no history")
	}
	ctx, cancel := context.WithTimeout(ctx, wishTime)
	defer cancel()
	text := r.Trend.Wish.Values().Encode()
	var b *handout.Bundle
	for _, f := range c.made {
		if f.client == r.Client && f.wish == text {
			b = c.bundles.Find(f.bundle)
		}
	}
	if b == nil {
		w, err := r.Trend.Wish.Wish()
		if err != nil {
			return a, command.Refuse(command.Malformed, "%v", err)
		}
		b, err = c.bundles.Make(ctx, w)
		switch {
		case errors.Is(err, handout.ErrBusy):
			return a, command.Refuse(command.Busy, "%v", err)
		case errors.Is(err, handout.ErrFull):
			return a, command.Refuse(command.Storage, "%v", err)
		case err != nil:
			return a, command.Refuse(command.Nothing, "%v", err)
		}
		c.made = append(c.made, fulfilled{r.Client, text, b.ID})
		if n := len(c.made) - mostRemembered; n > 0 {
			c.made = append(c.made[:0], c.made[n:]...)
		}
	}
	a.Bundle = &command.Bundle{ID: b.ID, Size: b.Bytes, From: b.From, To: b.To, FullFrom: b.FullFrom}
	return a, nil
}

// piece sends some chunks of a bundle, one after the other is acknowledged.
func (c *commands) piece(ctx context.Context, r *command.Request) (none command.Reply, err error) {
	var b *handout.Bundle
	if c.bundles != nil {
		b = c.bundles.Find(r.Trend.Bundle)
	}
	if b == nil {
		return none, command.Refuse(command.Gone, "that bundle is not kept any more: ask anew")
	}
	file, err := b.Open()
	if err != nil {
		return none, command.Refuse(command.Gone, "that bundle is not kept any more: ask anew")
	}
	defer file.Close()
	buffer := make([]byte, chunkBytes)
	chunk := command.Chunk{ID: r.ID, Bundle: b.ID, Size: b.Bytes, Offset: r.Trend.Offset}
	for i := range r.Trend.Chunks {
		n, err := file.ReadAt(buffer, chunk.Offset)
		if err != nil && !errors.Is(err, io.EOF) {
			return none, fmt.Errorf("read bundle: %w", err)
		}
		if n == 0 {
			return none, command.Refuse(command.Nothing, "the bundle has %d bytes", b.Bytes)
		}
		chunk.Data = buffer[:n]
		chunk.Last = i+1 == r.Trend.Chunks || chunk.Offset+int64(n) >= b.Bytes
		body, err := chunk.Encode()
		if err != nil {
			return none, err
		}
		if err := c.line.SendChunk(ctx, r.Topic()+"/chunk", body); err != nil {
			return none, nil // the line is lost: the asker asks again for what is missing
		}
		if chunk.Last {
			break
		}
		chunk.Offset += int64(n)
	}
	return none, nil
}
