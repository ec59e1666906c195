package mqtt

import (
	"context"
	"crypto/tls"
	"encoding/json"
	"errors"
	"fmt"
	"net"
	"net/url"
	"sync"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"
)

const (
	maxUnacked  = 20               // in the client's hands; its ids run out at 65,535
	ackTimeout  = 30 * time.Second // a broker that answers pings and acknowledges nothing
	dialTimeout = 10 * time.Second
	writeLimit  = 10 * time.Second
	pingLimit   = 10 * time.Second
	keepAlive   = 30 * time.Second
	// keepAliveMetered makes some 2 MB a month of pings; see the test that counts.
	keepAliveMetered = 5 * time.Minute

	farewell = 250 * time.Millisecond
	leave    = 450 * time.Millisecond // Run ends this long after its context at the latest
)

var errNoAck = errors.New("the broker acknowledges nothing")

// Run connects, publishes, and connects again whenever that ends, until ctx does. A
// broker that is away is no error: Run returns nil.
func (p *Publisher) Run(ctx context.Context) error {
	done := make(chan struct{})
	go func() {
		defer close(done)
		var all sync.WaitGroup
		if p.outbox != nil {
			all.Go(func() { p.outbox.run(ctx) })
		}
		all.Go(func() { p.secure.watch(ctx) })
		p.sessions(ctx)
		all.Wait()
	}()
	<-ctx.Done()
	// The client may sit in a write to a broker that has stopped reading; its own time
	// limit ends that later. The end of the program does not wait for it.
	select {
	case <-done:
	case <-time.After(leave):
	}
	return nil
}

func (p *Publisher) sessions(ctx context.Context) {
	away := false
	for between := (pauses{}); ; {
		taken := p.Stats().Published
		up, err := p.session(ctx)
		if ctx.Err() != nil {
			return
		}
		if up || !away {
			p.o.Log.Warn("no connection to the MQTT broker; trying again", "broker", p.server.Host, "error", err)
		}
		away = true
		if p.Stats().Published > taken {
			between.again()
		}
		if !p.pause(ctx, &between) {
			return
		}
	}
}

// link is the connection beneath the client, kept so that it can be cut.
type link struct {
	mu   sync.Mutex
	conn net.Conn
	cut  bool
}

func (l *link) set(c net.Conn) error {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.cut {
		return errors.Join(net.ErrClosed, c.Close())
	}
	l.conn = c
	return nil
}

func (l *link) close() {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.cut = true
	if l.conn != nil {
		_ = l.conn.Close() // it is given up; there is nobody to tell
	}
}

// session is one connection from its beginning to its end. It reports whether it came
// up and why it ended.
func (p *Publisher) session(ctx context.Context) (up bool, err error) {
	lost := make(chan error, 1)
	l := &link{}
	client, err := p.client(ctx, l, lost)
	if err != nil {
		return false, err
	}
	defer func() {
		l.close() // first: after a DISCONNECT the broker would not send the last will
		client.Disconnect(0)
	}()
	stop := context.AfterFunc(ctx, l.close)
	defer stop()
	if err := await(ctx, client.Connect(), lost); err != nil {
		return false, fmt.Errorf("connect: %w", err)
	}
	// Subscribed before the first word of our own, so that a late will is seen. A broker
	// may forbid it; alarms are published all the same.
	own := client.Subscribe(p.topic("availability"), 1, p.refute)
	if err := await(ctx, own, lost); err != nil {
		if !client.IsConnectionOpen() {
			return false, fmt.Errorf("subscribe: %w", err)
		}
		p.o.Log.Warn("the MQTT broker does not let us read our own availability", "error", err)
	}
	if err := p.listen(ctx, client, lost); err != nil {
		if !client.IsConnectionOpen() {
			return false, fmt.Errorf("subscribe: %w", err)
		}
		p.o.Log.Warn("the MQTT broker does not let us read commands", "error", err)
	}
	if !stop() {
		return false, ctx.Err()
	}
	p.mu.Lock()
	p.stats.Connected, p.stats.Connects = true, p.stats.Connects+1
	p.awaitEcho(own)
	p.mu.Unlock()
	p.o.Log.Info("connected to the MQTT broker", "broker", p.server.Host)
	p.greet()
	defer p.hangUp()
	if p.outbox != nil {
		defer p.outbox.begin(ctx)()
	}
	err = p.deliver(ctx, client, lost)
	if ctx.Err() != nil {
		p.goodbye(client)
	}
	return true, err
}

// client prepares a client for one connection. Measured on this library: only with its
// own reconnection off and a clean session does a token tell the truth about a message
// that was never acknowledged, hence a fresh client for each connection.
func (p *Publisher) client(ctx context.Context, l *link, lost chan<- error) (paho.Client, error) {
	will, err := p.available("lost")
	if err != nil {
		return nil, fmt.Errorf("write the last will: %w", err)
	}
	o := paho.NewClientOptions().
		SetClientID(p.o.ClientID).SetUsername(p.o.User).SetPassword(p.o.Password).
		SetProtocolVersion(4).SetCleanSession(true).SetStore(paho.NewMemoryStore()).
		SetAutoReconnect(false).SetConnectRetry(false).SetOrderMatters(false).
		SetConnectTimeout(dialTimeout).SetWriteTimeout(writeLimit).
		SetKeepAlive(p.keepAlive()).SetPingTimeout(pingLimit).
		SetBinaryWill(p.topic("availability"), will, 1, true).
		SetConnectionLostHandler(func(_ paho.Client, err error) { lost <- err }).
		SetCustomOpenConnectionFn(func(*url.URL, paho.ClientOptions) (net.Conn, error) {
			conn, err := p.dial(ctx)
			if err != nil {
				return nil, err
			}
			return trim(conn, p.oversized), l.set(conn)
		})
	o.Servers = []*url.URL{p.server}
	return paho.NewClient(o), nil
}

// direct is the way to a broker without TLS.
var direct = (&net.Dialer{Timeout: dialTimeout}).DialContext

func (p *Publisher) dial(ctx context.Context) (net.Conn, error) {
	secure := p.secure.Config()
	if secure == nil {
		return p.o.Dial(ctx, "tcp", p.server.Host)
	}
	d := &net.Dialer{Timeout: dialTimeout}
	ctx, cancel := context.WithTimeout(ctx, dialTimeout)
	defer cancel()
	return (&tls.Dialer{NetDialer: d, Config: secure}).DialContext(ctx, "tcp", p.server.Host)
}

// keepAlive is how long the line is silent before somebody asks whether it stands. Half again
// as long after the last word the broker takes us for lost.
func (p *Publisher) keepAlive() time.Duration {
	if p.o.Metered {
		return keepAliveMetered
	}
	return keepAlive
}

// await waits for the outcome of t.
func await(ctx context.Context, t paho.Token, lost <-chan error) error {
	timeout := time.NewTimer(2 * dialTimeout)
	defer timeout.Stop()
	select {
	case <-t.Done():
		return t.Error()
	case err := <-lost:
		return err
	case <-ctx.Done():
		return ctx.Err()
	case <-timeout.C:
		return errNoAck
	}
}

// flight is a message in the broker's hands.
type flight struct {
	*message
	token paho.Token
	due   time.Time // when it must be acknowledged
}

// deliver sends what waits until the connection or ctx ends. Acknowledgements are taken
// in the order of sending: a message leaves the queue only on its own.
func (p *Publisher) deliver(ctx context.Context, client paho.Client, lost <-chan error) error {
	var unacked []flight
	overdue := time.NewTimer(p.ackTimeout)
	defer overdue.Stop()
	for {
		for len(unacked) < maxUnacked {
			m, payload := p.next()
			if m == nil {
				break
			}
			unacked = append(unacked, flight{m, client.Publish(m.topic, 1, m.retained, payload), time.Now().Add(p.ackTimeout)})
		}
		var acked <-chan struct{}
		if len(unacked) > 0 {
			acked = unacked[0].token.Done()
			overdue.Reset(time.Until(unacked[0].due))
		} else {
			overdue.Stop()
		}
		select {
		case <-acked:
			if err := unacked[0].token.Error(); err != nil {
				return fmt.Errorf("publish %s: %w", unacked[0].topic, err)
			}
			p.delivered(unacked[0].message)
			unacked = unacked[1:]
		case <-p.wake:
		case err := <-lost:
			return err
		case <-overdue.C:
			return errNoAck
		case <-ctx.Done():
			return ctx.Err()
		}
	}
}

// next takes the next message and writes its payload.
func (p *Publisher) next() (*message, []byte) {
	p.mu.Lock()
	defer p.mu.Unlock()
	for {
		m := p.queue.next()
		if m == nil {
			return nil, nil
		}
		payload, err := m.body(p.latest)
		if err == nil {
			return m, payload
		}
		// Only a number that is none could do that, and those are filtered out before.
		p.o.Log.Error("cannot write an MQTT message", "topic", m.topic, "error", err)
		p.queue.remove(m)
		p.queue.dropped++
	}
}

func (p *Publisher) delivered(m *message) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.queue.remove(m)
	p.stats.Published++
	if m.done != nil {
		m.done <- nil
	}
	if m.acked != nil {
		m.acked()
	}
	p.relieve()
}

// oversized is told of a message that was too large to be taken.
func (p *Publisher) oversized() {
	if p.o.Oversized != nil {
		p.o.Oversized()
	}
}

// hangUp takes back what was not acknowledged.
func (p *Publisher) hangUp() {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.stats.Connected, p.stats.Unheard = false, false
	p.abandon()
	p.live = 0
	p.stats.Failed += uint64(p.queue.forget() + p.queue.recall())
}

// goodbye says that we stop on purpose.
func (p *Publisher) goodbye(client paho.Client) {
	payload, err := p.available("offline")
	if err != nil {
		return // the broker says "lost" then
	}
	client.Publish(p.topic("availability"), 1, true, payload).WaitTimeout(farewell)
	client.Disconnect(50)
}

// refute contradicts whoever says that we are not there: the will of a former connection
// may come late, and would mark a live monitor as lost.
func (p *Publisher) refute(_ paho.Client, m paho.Message) {
	var a available
	if err := json.Unmarshal(m.Payload(), &a); err == nil && a.State == "online" {
		p.echo(m, &a)
		return
	}
	p.mu.Lock()
	defer p.mu.Unlock()
	p.online()
	p.rouse()
}
