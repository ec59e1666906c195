package fleettest

import (
	"crypto/tls"
	"crypto/x509"
	"fmt"
	"net"
	"os"
	"sync"
	"testing"
	"time"

	"github.com/eclipse/paho.mqtt.golang/packets"
)

const patience = 20 * time.Second

// Hello is what somebody says of himself in his first packet.
type Hello struct{ ClientID, User, WillTopic, Will string }

// Client is somebody at the broker who remembers what was heard. It works packet by packet:
// what the broker has sent before an acknowledgement is there when that is.
type Client struct {
	t    testing.TB
	conn net.Conn
	acks chan packets.ControlPacket
	lost chan struct{}
	id   uint16

	mu    sync.Mutex
	heard []string // topic and payload
}

// TLS is the side of a client, with a certificate unless there is none.
func (a *Authority) TLS(who Identity) *tls.Config {
	a.t.Helper()
	c := &tls.Config{MinVersion: tls.VersionTLS12, ServerName: BrokerName, RootCAs: x509.NewCertPool()}
	c.RootCAs.AppendCertsFromPEM([]byte(a.Read("root/certificate.pem")))
	if who.Cert != "" {
		pair, err := tls.LoadX509KeyPair(who.Cert, who.Key)
		if err != nil {
			a.t.Fatal(err)
		}
		c.Certificates = []tls.Certificate{pair}
	}
	return c
}

// Dial tries to connect. Without a TLS configuration it is in the clear.
func Dial(t testing.TB, address string, secure *tls.Config, hello Hello) (*Client, error) {
	t.Helper()
	conn, err := net.DialTimeout("tcp", address, patience)
	if err != nil {
		return nil, err
	}
	if secure != nil {
		conn = tls.Client(conn, secure)
	}
	c := &Client{t: t, conn: conn, acks: make(chan packets.ControlPacket), lost: make(chan struct{})}
	t.Cleanup(c.Break)
	p := packets.NewControlPacket(packets.Connect).(*packets.ConnectPacket)
	p.ProtocolName, p.ProtocolVersion, p.CleanSession, p.Keepalive = "MQTT", 4, true, 60
	p.ClientIdentifier, p.Username, p.UsernameFlag = hello.ClientID, hello.User, hello.User != ""
	if hello.WillTopic != "" {
		p.WillFlag, p.WillQos, p.WillRetain, p.WillTopic, p.WillMessage = true, 1, true, hello.WillTopic, []byte(hello.Will)
	}
	if err := p.Write(conn); err != nil {
		return nil, err
	}
	go c.hear()
	ack, err := c.ack()
	if err != nil {
		return nil, err
	}
	if code := ack.(*packets.ConnackPacket).ReturnCode; code != packets.Accepted {
		return nil, packets.ConnErrors[code]
	}
	return c, nil
}

// hear reads until the connection ends.
func (c *Client) hear() {
	defer close(c.lost)
	for {
		p, err := packets.ReadPacket(c.conn)
		if err != nil {
			return
		}
		if m, ok := p.(*packets.PublishPacket); ok {
			c.mu.Lock()
			c.heard = append(c.heard, m.TopicName+" "+string(m.Payload))
			c.mu.Unlock()
			continue
		}
		select {
		case c.acks <- p:
		case <-time.After(patience):
			return
		}
	}
}

// ack waits for the broker's answer.
func (c *Client) ack() (packets.ControlPacket, error) {
	select {
	case p := <-c.acks:
		return p, nil
	case <-c.lost:
		return nil, fmt.Errorf("the broker ends the connection: %w", net.ErrClosed)
	case <-time.After(patience):
		return nil, fmt.Errorf("the broker does not answer: %w", os.ErrDeadlineExceeded)
	}
}

// Join is Dial, which must succeed.
func Join(t testing.TB, address string, secure *tls.Config, hello Hello) *Client {
	t.Helper()
	c, err := Dial(t, address, secure, hello)
	if err != nil {
		t.Fatalf("not let in: %v", err)
	}
	return c
}

// Hear subscribes. Whether the broker sends anything is another matter: it grants every
// subscription and looks at the rules when it delivers.
func (c *Client) Hear(filters ...string) {
	c.t.Helper()
	c.id++
	p := packets.NewControlPacket(packets.Subscribe).(*packets.SubscribePacket)
	p.MessageID, p.Topics, p.Qoss = c.id, filters, make([]byte, len(filters))
	c.do(p)
}

// Leave ends subscriptions.
func (c *Client) Leave(filters ...string) {
	c.t.Helper()
	c.id++
	p := packets.NewControlPacket(packets.Unsubscribe).(*packets.UnsubscribePacket)
	p.MessageID, p.Topics = c.id, filters
	c.do(p)
}

// Say publishes with QoS 1. Mosquitto acknowledges also what its rules forbid.
func (c *Client) Say(topic, payload string, retained bool) {
	c.t.Helper()
	c.id++
	p := packets.NewControlPacket(packets.Publish).(*packets.PublishPacket)
	p.Qos, p.Retain, p.TopicName, p.MessageID, p.Payload = 1, retained, topic, c.id, []byte(payload)
	c.do(p)
}

func (c *Client) do(p packets.ControlPacket) {
	c.t.Helper()
	if err := p.Write(c.conn); err != nil {
		c.t.Fatal(err)
	}
	if _, err := c.ack(); err != nil {
		c.t.Fatal(err)
	}
}

// All is what was heard, after everything has come that the broker has taken so far: a round to
// the broker is behind it. It takes the round's subscription for nothing else.
func (c *Client) All() []string {
	c.t.Helper()
	c.Hear("fence")
	c.mu.Lock()
	defer c.mu.Unlock()
	return append([]string(nil), c.heard...)
}

// Heard reports whether something was heard, likewise.
func (c *Client) Heard(topic, payload string) bool {
	c.t.Helper()
	for _, h := range c.All() {
		if h == topic+" "+payload {
			return true
		}
	}
	return false
}

// Quit ends the connection as one does.
func (c *Client) Quit() {
	_ = packets.NewControlPacket(packets.Disconnect).Write(c.conn)
	c.Break()
}

// Break ends the connection without a word, as a line that is cut.
func (c *Client) Break() { _ = c.conn.Close() }

// Lost reports whether the broker ends the connection within a while.
func (c *Client) Lost(within time.Duration) bool {
	select {
	case <-c.lost:
		return true
	case <-time.After(within):
		return false
	}
}

// Text reads a file.
func Text(t testing.TB, file string) string {
	t.Helper()
	text, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	return string(text)
}
