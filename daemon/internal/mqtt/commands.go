package mqtt

import (
	"context"
	"encoding/json"
	"errors"
	"strings"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"

	"fluewright/daemon/internal/status"
)

// The reasons for which a chunk was not sent.
var (
	errAway = errors.New("there is no connection to the broker")
	errNone = errors.New("nothing has been read yet")
)

// listen subscribes to commands. QoS 0 is on purpose: their askers wait for replies and ask
// again, and a flood is then the broker's to drop.
func (p *Publisher) listen(ctx context.Context, client paho.Client, lost <-chan error) error {
	if p.o.Command == nil {
		return nil
	}
	prefix := p.topic("command/")
	return await(ctx, client.Subscribe(prefix+"#", 0, func(_ paho.Client, m paho.Message) {
		if !m.Retained() {
			p.mu.Lock()
			p.asked = time.Now()
			p.mu.Unlock()
		}
		p.o.Command(strings.TrimPrefix(m.Topic(), prefix), m.Retained(), m.Payload())
	}), lost)
}

// Reply queues the reply to a command, below the site's root. Of too many the oldest go.
func (p *Publisher) Reply(topic string, payload []byte) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.queue.add(&message{class: replies, topic: p.topic(topic), body: func(*status.Status) ([]byte, error) { return payload, nil }})
	p.rouse()
}

// SendChunk sends a piece of something large, and returns when the broker has acknowledged
// it. It waits behind everything else, and nothing else waits behind more than one. It fails
// when the connection does.
func (p *Publisher) SendChunk(ctx context.Context, topic string, payload []byte) error {
	m := &message{
		class: chunks, topic: p.topic(topic), done: make(chan error, 1),
		body: func(*status.Status) ([]byte, error) { return payload, nil },
	}
	p.mu.Lock()
	if !p.stats.Connected {
		p.mu.Unlock()
		return errAway
	}
	p.queue.add(m)
	p.mu.Unlock()
	p.rouse()
	select {
	case err := <-m.done:
		return err
	case <-ctx.Done():
		p.mu.Lock()
		defer p.mu.Unlock()
		if !m.sent {
			p.queue.remove(m)
		}
		return ctx.Err()
	}
}

// abandon gives up the chunks that are not acknowledged: whoever waits for them asks again.
// p.mu is held.
func (p *Publisher) abandon() {
	for _, m := range p.queue.lists[chunks] {
		m.done <- errAway
	}
	p.queue.lists[chunks] = nil
}

// liveEvery is the time between packs while somebody watches, a little less than a second,
// so that a tick that comes a little early counts.
const liveEvery = 900 * time.Millisecond

// Live sends telemetry each second for a while, on the frames' clock. A later call replaces
// an earlier one.
func (p *Publisher) Live(d time.Duration) {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.latest != nil {
		p.live = p.latest.Frame.At + d
	}
}

// Snapshot is the payload of the topic state, as it is now.
func (p *Publisher) Snapshot() (json.RawMessage, error) {
	p.mu.Lock()
	latest := p.latest
	p.mu.Unlock()
	if latest == nil {
		return nil, errNone
	}
	return p.summary(latest)
}
