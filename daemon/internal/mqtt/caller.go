package mqtt

import (
	"cmp"
	"context"
	"crypto/tls"
	"encoding/json"
	"errors"
	"fmt"
	"net"
	"net/url"
	"strings"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"
	"github.com/eclipse/paho.mqtt.golang/packets"
)

// CallOptions is what a caller, who asks a monitor through a broker, needs to know. The
// members are those of [Options].
type CallOptions struct {
	Root, Site, Broker, User, Password, CAFile string
	// CertFile and KeyFile are the caller's own certificate, where the broker asks for one.
	CertFile, KeyFile string
	// ClientID is the caller's; replies go to it.
	ClientID string
}

// Check says what is wrong with the options, and will stay wrong however often they are tried.
func (o *CallOptions) Check() error {
	_, _, err := o.read()
	return err
}

// read reads the broker's address and the certificates; settings are nil without TLS.
func (o *CallOptions) read() (server *url.URL, set *tls.Config, err error) {
	server, secure, err := parseBroker(o.Broker)
	if err != nil {
		return nil, nil, err
	}
	set, err = settings(server, secure, o.CAFile, o.CertFile, o.KeyFile)
	return server, set, err
}

// settings are those of TLS for a broker; nil without it.
func settings(server *url.URL, secure bool, ca, cert, key string) (*tls.Config, error) {
	switch {
	case !secure && ca != "":
		return nil, fmt.Errorf("a CA file for the broker %s, which is not reached over TLS: write ssl://%s", server, server.Host)
	case !secure && cert != "":
		return nil, fmt.Errorf("a certificate for the broker %s, which is not reached over TLS: write ssl://%s", server, server.Host)
	case !secure:
		return nil, nil
	}
	set := &tls.Config{MinVersion: tls.VersionTLS12, ServerName: server.Hostname()}
	var err error
	if ca != "" {
		if set.RootCAs, err = certificates(ca); err != nil {
			return nil, err
		}
	}
	if cert != "" {
		pair, err := tls.LoadX509KeyPair(cert, key)
		if err != nil {
			return nil, fmt.Errorf("read the client's certificate: %w", err)
		}
		set.Certificates = []tls.Certificate{pair}
	}
	return set, nil
}

// ErrRefused says that the broker does not let the caller in.
var ErrRefused = errors.New("the broker refuses user, password or client")

// Heard is a message for a caller: Topic is below the site's root. Retained says that the broker
// had it already.
type Heard struct {
	Topic    string
	Payload  []byte
	Retained bool
}

// Caller is one connection of somebody who asks.
type Caller struct {
	o      CallOptions
	client paho.Client
	link   *link
	lost   chan error
	heard  chan Heard
}

// mostHeard is how many messages may wait for a caller; more are lost, and asked for again.
const mostHeard = 64

// Dial connects to the broker, and subscribes to the replies and to the monitor's
// availability.
func Dial(ctx context.Context, o CallOptions) (*Caller, error) {
	c, err := connect(ctx, o)
	if err != nil {
		return nil, err
	}
	base := root(o.Root, o.Site)
	hear := func(_ paho.Client, m paho.Message) {
		select {
		case c.heard <- Heard{strings.TrimPrefix(m.Topic(), base), m.Payload(), m.Retained()}:
		default: // the caller does not keep up
		}
	}
	for _, filter := range []string{"reply/" + o.ClientID + "/#", "availability"} {
		if err := c.subscribe(ctx, base+filter, 1, hear); err != nil {
			c.Close()
			return nil, err
		}
	}
	return c, nil
}

// Listen connects to the broker to read what monitors keep there: filters are below the root, and
// so are the topics of what is heard. hear is called for one message after the other, from
// before Listen returns until the caller is closed. When it returns the broker has begun to tell
// of every filter.
func Listen(ctx context.Context, o CallOptions, hear func(Heard), filters ...string) (*Caller, error) {
	c, err := connect(ctx, o)
	if err != nil {
		return nil, err
	}
	base := cmp.Or(o.Root, DefaultRoot) + "/"
	for _, filter := range filters {
		// QoS 0: a broker may drop what waits for a slow reader of QoS 1.
		err := c.subscribe(ctx, base+filter, 0, func(_ paho.Client, m paho.Message) {
			hear(Heard{strings.TrimPrefix(m.Topic(), base), m.Payload(), m.Retained()})
		})
		if err != nil {
			c.Close()
			return nil, err
		}
	}
	return c, nil
}

// connect opens a connection.
func connect(ctx context.Context, o CallOptions) (*Caller, error) {
	server, settings, err := o.read()
	if err != nil {
		return nil, err
	}
	c := &Caller{o: o, link: &link{}, lost: make(chan error, 1), heard: make(chan Heard, mostHeard)}
	line := &Publisher{o: Options{Dial: direct}, server: server, secure: once(settings)}
	options := paho.NewClientOptions().
		SetClientID(o.ClientID).SetUsername(o.User).SetPassword(o.Password).
		SetProtocolVersion(4).SetCleanSession(true).SetStore(paho.NewMemoryStore()).
		SetAutoReconnect(false).SetConnectRetry(false).SetOrderMatters(true).
		SetConnectTimeout(dialTimeout).SetWriteTimeout(writeLimit).SetKeepAlive(keepAlive).SetPingTimeout(pingLimit).
		SetConnectionLostHandler(func(_ paho.Client, err error) { c.lost <- err }).
		SetCustomOpenConnectionFn(func(*url.URL, paho.ClientOptions) (net.Conn, error) {
			conn, err := line.dial(ctx)
			if err != nil {
				return nil, err
			}
			return trim(conn, func() {}), c.link.set(conn)
		})
	options.Servers = []*url.URL{server}
	c.client = paho.NewClient(options)
	if err := await(ctx, c.client.Connect(), c.lost); err != nil {
		c.Close()
		if errors.Is(err, packets.ErrorRefusedBadUsernameOrPassword) || errors.Is(err, packets.ErrorRefusedNotAuthorised) {
			return nil, ErrRefused
		}
		return nil, fmt.Errorf("connect: %w", err)
	}
	return c, nil
}

// forbidden is the return code of a subscription that is not allowed.
const forbidden = 0x80

func (c *Caller) subscribe(ctx context.Context, filter string, qos byte, hear paho.MessageHandler) error {
	t := c.client.Subscribe(filter, qos, hear)
	err := await(ctx, t, c.lost)
	if s, ok := t.(*paho.SubscribeToken); ok && err == nil && s.Result()[filter] == forbidden {
		err = ErrRefused
	}
	if err != nil {
		return fmt.Errorf("subscribe to %s: %w", filter, err)
	}
	return nil
}

// Heard returns what comes.
func (c *Caller) Heard() <-chan Heard { return c.heard }

// Lost returns why the connection ended, once it has.
func (c *Caller) Lost() <-chan error { return c.lost }

// Send sends a command, and waits until the broker has it.
func (c *Caller) Send(ctx context.Context, name string, payload []byte) error {
	err := await(ctx, c.client.Publish(root(c.o.Root, c.o.Site)+"command/"+name, 1, false, payload), c.lost)
	if err != nil {
		return fmt.Errorf("send the command: %w", err)
	}
	return nil
}

// Close ends the connection.
func (c *Caller) Close() {
	if c.client.IsConnectionOpen() {
		c.client.Disconnect(uint((50 * time.Millisecond).Milliseconds()))
	}
	c.link.close()
}

// Availability reads the payload of the topic availability: "online", "offline" or "lost".
func Availability(payload []byte) (string, error) {
	var a available
	if err := json.Unmarshal(payload, &a); err != nil || a.State == "" {
		return "", errors.New("what is on the topic availability is no monitor's")
	}
	return a.State, nil
}
