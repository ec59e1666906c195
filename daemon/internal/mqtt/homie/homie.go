// Package homie shows the monitor to home automations that know the Homie convention
// (version 5.0, homieiot.github.io, 11 May 2025): its channels with value and quality, the
// phase of the burn, and each standing alarm as an alert. It is a view of the present alone;
// what happened and when is told by package mqtt. Nothing in it can be set.
//
// The convention wants the last will to say that the device is lost, and MQTT has one will
// for each connection: so the view has a connection of its own, beside the publisher's,
// whose will is about availability.
package homie

import (
	"context"
	"crypto/tls"
	"errors"
	"fmt"
	"log/slog"
	"math/rand/v2"
	"net"
	"net/url"
	"strings"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"

	"fluewright/analysis/alarm"
	"fluewright/daemon/internal/status"
	"fluewright/daemon/internal/verdict"
)

// Options is what the device needs to know.
type Options struct {
	// Site is the device's id: 4 to 32 of a-z, 0-9 and '-'.
	Site string
	// Broker is "tcp://host:1883", or "ssl://host:8883" with TLS.
	Broker string
	// TLS says how, for each connection; nil without TLS.
	TLS func() *tls.Config
	// ClientID is another than the publisher's.
	ClientID       string
	User, Password string
	Feed           *status.Feed
	// Alarms are all that the site can have.
	Alarms []alarm.Status
	// Verdict words alarms and sums up the state; its Fitted says which channels there are.
	Verdict verdict.Site
	// StaleAfter is how long the newest tick counts as the present one.
	StaleAfter time.Duration
	// Every is how often a number is sent at most; zero takes 10 s.
	Every time.Duration
	// Dial connects where there is no TLS; nil takes the net package's.
	Dial func(ctx context.Context, network, address string) (net.Conn, error)
	Log  *slog.Logger
}

const (
	dialTimeout = 10 * time.Second
	ackTimeout  = 30 * time.Second
	keepAlive   = 30 * time.Second
	farewell    = 250 * time.Millisecond
	// look is how often the view is looked at, for what changes without a tick: that there is
	// none.
	look = time.Second
)

// Device is the view, which Run keeps at the broker.
type Device struct {
	o      Options
	server *url.URL
	known  map[string]bool      // alerts that there can be
	topics map[alarm.Key]string // of them
}

// New checks o and prepares a device; it does not connect yet.
func New(o Options) (*Device, error) {
	server, err := url.Parse(o.Broker)
	if err != nil || server.Host == "" || server.Scheme != "tcp" && server.Scheme != "ssl" {
		return nil, fmt.Errorf("show a Homie device at %q: want tcp://host:port or ssl://host:port", o.Broker)
	}
	if o.Every == 0 {
		o.Every = 10 * time.Second
	}
	if o.Dial == nil {
		o.Dial = (&net.Dialer{}).DialContext
	}
	d := &Device{o: o, server: server, known: make(map[string]bool), topics: make(map[alarm.Key]string)}
	for _, a := range o.Alarms {
		id := alertID(a.Key)
		d.known[id], d.topics[a.Key] = true, "$alert/"+id
	}
	return d, nil
}

// Run connects, shows, and connects again whenever that ends, until ctx does. A broker that
// is away is no error: Run returns nil.
func (d *Device) Run(ctx context.Context) error {
	said := ""
	for attempt := 0; ctx.Err() == nil; attempt++ {
		began := time.Now()
		err := d.session(ctx)
		if ctx.Err() != nil {
			break
		}
		if text := fmt.Sprint(err); text != said {
			said = text
			d.o.Log.Warn("no connection to the MQTT broker for the Homie view; trying again", "broker", d.server.Host, "error", err)
		}
		if time.Since(began) > time.Minute {
			attempt, said = 0, ""
		}
		window := 5 * time.Minute
		if attempt < 8 {
			window = time.Second << attempt
		}
		select {
		case <-ctx.Done():
		case <-time.After(100*time.Millisecond + rand.N(window)):
		}
	}
	return nil
}

// session is one connection from its beginning to its end.
func (d *Device) session(ctx context.Context) error {
	lost := make(chan error, 1)
	doubt := make(chan string, 16) // topics that say what is not so
	var conn net.Conn
	o := paho.NewClientOptions().
		SetClientID(d.o.ClientID).SetUsername(d.o.User).SetPassword(d.o.Password).
		SetProtocolVersion(4).SetCleanSession(true).SetStore(paho.NewMemoryStore()).
		SetAutoReconnect(false).SetConnectRetry(false).SetOrderMatters(false).
		SetConnectTimeout(dialTimeout).SetWriteTimeout(dialTimeout).
		SetKeepAlive(keepAlive).SetPingTimeout(dialTimeout).
		SetWill(base(d.o.Site)+"$state", "lost", 1, true).
		SetConnectionLostHandler(func(_ paho.Client, err error) { lost <- err }).
		SetCustomOpenConnectionFn(func(*url.URL, paho.ClientOptions) (_ net.Conn, err error) {
			conn, err = d.dial(ctx)
			return conn, err
		})
	o.Servers = []*url.URL{d.server}
	client := paho.NewClient(o)
	defer func() {
		if conn != nil {
			_ = conn.Close() // before a DISCONNECT, which would withhold the will
		}
		client.Disconnect(0)
	}()
	l := &line{ctx: ctx, client: client, lost: lost, base: base(d.o.Site)}
	if err := l.await(client.Connect()); err != nil {
		return fmt.Errorf("connect: %w", err)
	}
	err := d.show(ctx, l, doubt)
	if ctx.Err() != nil {
		client.Publish(l.base+"$state", 1, true, "disconnected").WaitTimeout(farewell)
		client.Disconnect(50)
	}
	return err
}

// show announces the device and keeps it up to date.
func (d *Device) show(ctx context.Context, l *line, doubt chan string) error {
	description, err := d.describe()
	if err != nil {
		return err
	}
	if err := l.send("$state", "init"); err != nil {
		return err
	}
	if err := l.send("$description", string(description)); err != nil {
		return err
	}
	sent := make(map[string]string)
	if err := d.update(l, sent, true); err != nil {
		return err
	}
	if err := l.send("$state", "ready"); err != nil {
		return err
	}
	if err := d.listen(l, doubt); err != nil {
		return err
	}
	var seen *status.Status
	ticks := d.o.Feed.SubscribeTo(ctx, func(s *status.Status) bool {
		news := seen == nil || stirred(seen, s) // for anything else the next look is soon enough
		seen = s
		return news
	})
	looks := time.NewTicker(look)
	defer looks.Stop()
	numbers := time.Now()
	for {
		select {
		case <-ticks:
		case <-looks.C:
		case topic := <-doubt:
			payload := sent[topic] // of an alert that there cannot be, nothing
			if topic == "$state" {
				payload = "ready"
			}
			if err := l.send(topic, payload); err != nil {
				return err
			}
		case err := <-l.lost:
			return err
		case <-ctx.Done():
			return ctx.Err()
		}
		due := time.Since(numbers) >= d.o.Every
		if due {
			numbers = time.Now()
		}
		if err := d.update(l, sent, due); err != nil {
			return err
		}
	}
}

// stirred reports whether a tick brings more than other numbers.
func stirred(before, now *status.Status) bool {
	for c, in := range now.Frame.Inputs {
		if in.Quality != before.Frame.Inputs[c].Quality {
			return true
		}
	}
	return len(now.Assessment.Events) > 0 || now.Assessment.Phase != before.Assessment.Phase
}

// update sends what has changed; numbers only where they are due or have just come back.
func (d *Device) update(l *line, sent map[string]string, due bool) error {
	s := d.o.Feed.Latest()
	if s == nil {
		return nil
	}
	age, _ := d.o.Feed.Age()
	for _, e := range d.view(s, age <= d.o.StaleAfter) {
		was, before := sent[e.topic]
		if before && was == e.payload || e.paced && !due && was != "" {
			continue
		}
		if err := l.send(e.topic, e.payload); err != nil {
			return err
		}
		sent[e.topic] = e.payload
		due = due || e.topic == level // what it says goes with that
	}
	return nil
}

// listen hears what the broker keeps of us: a will of a former connection that came late,
// and alerts of alarms that there are no longer. A broker may forbid it; the rest is shown
// all the same.
func (d *Device) listen(l *line, doubt chan<- string) error {
	say := func(topic string) {
		select {
		case doubt <- topic:
		default: // it is heard again at the next connection
		}
	}
	err := l.await(l.client.SubscribeMultiple(map[string]byte{l.base + "$state": 1, l.base + "$alert/+": 1}, func(_ paho.Client, m paho.Message) {
		topic := strings.TrimPrefix(m.Topic(), l.base)
		alert, isAlert := strings.CutPrefix(topic, "$alert/")
		switch {
		case topic == "$state" && string(m.Payload()) != "ready", isAlert && len(m.Payload()) > 0 && !d.known[alert]:
			say(topic)
		}
	}))
	if err != nil && l.client.IsConnectionOpen() {
		d.o.Log.Warn("the MQTT broker does not let us read our own Homie topics", "error", err)
		return nil
	}
	return err
}

func (d *Device) dial(ctx context.Context) (net.Conn, error) {
	ctx, cancel := context.WithTimeout(ctx, dialTimeout)
	defer cancel()
	if d.server.Scheme == "tcp" {
		return d.o.Dial(ctx, "tcp", d.server.Host)
	}
	return (&tls.Dialer{Config: d.o.TLS()}).DialContext(ctx, "tcp", d.server.Host)
}

// line is one connection.
type line struct {
	ctx    context.Context
	client paho.Client
	lost   chan error
	base   string
}

// errNoAck says that the broker takes messages and acknowledges none.
var errNoAck = errors.New("the broker acknowledges nothing")

// send publishes what a topic retains, and waits for the acknowledgement.
func (l *line) send(topic, payload string) error {
	if err := l.await(l.client.Publish(l.base+topic, 1, true, payload)); err != nil {
		return fmt.Errorf("publish %s: %w", topic, err)
	}
	return nil
}

func (l *line) await(t paho.Token) error {
	timeout := time.NewTimer(ackTimeout)
	defer timeout.Stop()
	select {
	case <-t.Done():
		return t.Error()
	case err := <-l.lost:
		l.lost <- err // for whoever asks next
		return err
	case <-l.ctx.Done():
		return l.ctx.Err()
	case <-timeout.C:
		return errNoAck
	}
}
