package fetch

import (
	"context"
	"crypto/rand"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"strings"
	"time"

	"fluewright/daemon/internal/command"
	"fluewright/daemon/internal/handout"
	"fluewright/daemon/internal/mqtt"
)

const (
	// life is how long a command may be on its way.
	life = 2 * time.Minute
	// present is how long the broker may take to say whether the monitor is there.
	present = 10 * time.Second
	// making is how long a bundle may take before it is asked for again.
	making = 3 * time.Minute
)

var errDeaf = errors.New("nothing comes from the monitor")

// Broker fetches a bundle through a broker. The options' ClientID is chosen here.
func Broker(ctx context.Context, from mqtt.CallOptions, f handout.Form, o Options) (*Fetched, error) {
	if err := from.Check(); err != nil {
		return nil, err
	}
	from.ClientID = "asker-" + token()
	p, err := openPart(from.Broker+"/"+from.Site, f)
	if err != nil {
		return nil, err
	}
	got, err := persist(ctx, p, o, func() error {
		c, err := mqtt.Dial(ctx, from)
		if errors.Is(err, mqtt.ErrRefused) {
			return refusal{err.Error()}
		}
		if err != nil {
			return err
		}
		defer c.Close()
		return (&talk{caller: c, client: from.ClientID, part: p, o: &o}).fetch(ctx, f)
	})
	if err != nil {
		return nil, errors.Join(fmt.Errorf("ask %s through the broker: %w", from.Site, err), p.Close())
	}
	return got, nil
}

func token() string {
	var b [8]byte
	_, _ = rand.Read(b[:]) // never fails
	return hex.EncodeToString(b[:])
}

// talk is what is said over one connection.
type talk struct {
	caller *mqtt.Caller
	client string
	part   *part
	o      *Options
}

// fetch brings what is missing.
func (t *talk) fetch(ctx context.Context, f handout.Form) error {
	if err := t.there(ctx); err != nil {
		return err
	}
	p := t.part
	if p.of.ID == "" {
		a, err := t.ask(ctx, command.Window{Wish: &f}, making, nil)
		if err != nil {
			return err
		}
		if b := a.Bundle; b == nil || b.ID == "" || b.Size <= 0 || b.Size > 2*handout.MostBytes {
			return refusal{"what answers there makes no bundle"}
		}
		if err := p.begin(identity{a.Bundle.ID, a.Bundle.Size}); err != nil {
			return refusal{err.Error()}
		}
		t.o.say("The bundle has %s.", megabytes(p.of.Size))
	}
	for !p.whole() {
		_, err := t.ask(ctx, command.Window{Bundle: p.of.ID, Offset: p.have, Chunks: command.MaxChunks}, stalled, t.take)
		if err != nil {
			return err
		}
	}
	return nil
}

// there waits for the monitor's own word that it is connected.
func (t *talk) there(ctx context.Context) error {
	late := time.NewTimer(present)
	defer late.Stop()
	for {
		h, err := t.next(ctx, late)
		switch {
		case errors.Is(err, errDeaf):
			return errors.New("the broker knows no such site, or does not let you read of it")
		case err != nil:
			return err
		case h.Topic != "availability":
			continue
		}
		state, err := mqtt.Availability(h.Payload)
		if err != nil {
			return err
		}
		if state != "online" {
			return fmt.Errorf("the monitor is not connected to the broker (%s)", state)
		}
		return nil
	}
}

// next returns the next message.
func (t *talk) next(ctx context.Context, late *time.Timer) (mqtt.Heard, error) {
	select {
	case h := <-t.caller.Heard():
		return h, nil
	case err := <-t.caller.Lost():
		return mqtt.Heard{}, err
	case <-late.C:
		return mqtt.Heard{}, errDeaf
	case <-ctx.Done():
		return mqtt.Heard{}, ctx.Err()
	}
}

// ask sends one command and waits for its reply, or until take has had its last chunk.
func (t *talk) ask(ctx context.Context, w command.Window, patience time.Duration, take func(command.Chunk) (last bool, err error)) (a command.Reply, err error) {
	id := token()
	now := time.Now()
	body, err := json.Marshal(command.Request{
		Version: command.Version, ID: id, Client: t.client, IssuedAt: now, ExpiresAt: now.Add(life), Trend: &w,
	})
	if err != nil {
		return a, err
	}
	if err := t.caller.Send(ctx, string(command.Trend), body); err != nil {
		return a, err
	}
	late := time.NewTimer(patience)
	defer late.Stop()
	for {
		h, err := t.next(ctx, late)
		if err != nil {
			return a, err
		}
		switch strings.TrimPrefix(h.Topic, "reply/"+t.client+"/"+id) {
		case "":
			if err := json.Unmarshal(h.Payload, &a); err != nil {
				return a, fmt.Errorf("read the reply: %w", err)
			}
			return a, t.refused(a)
		case "/chunk":
			late.Reset(patience)
			c, err := command.DecodeChunk(h.Payload)
			if err != nil || take == nil {
				continue // of no use; what is missing is asked for again
			}
			if last, err := take(c); last || err != nil {
				return a, err
			}
		}
	}
}

// refused says whether to try again.
func (t *talk) refused(a command.Reply) error {
	switch {
	case a.Result == "done":
		return nil
	case a.Reason == command.Gone:
		if t.part.have > 0 {
			t.o.say("The monitor does not have that bundle any more: all of it comes again.")
		}
		return errors.Join(errors.New(a.Message), t.part.begin(identity{}))
	case a.Reason == command.Busy:
		return errors.New(a.Message)
	default:
		return refusal{a.Message}
	}
}

// take puts a chunk where it belongs. What was there comes twice where the line broke; what
// does not follow is asked for again.
func (t *talk) take(c command.Chunk) (last bool, err error) {
	p := t.part
	switch {
	case c.Bundle != p.of.ID || c.Size != p.of.Size || c.Offset > p.have:
		return true, nil
	case c.Offset == p.have:
		if err := p.add(c.Data); err != nil {
			return false, refusal{err.Error()}
		}
	}
	return c.Last || p.whole(), nil
}
