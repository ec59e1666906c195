package fleettest

import (
	"crypto/tls"
	"crypto/x509"
	"net"
	"net/url"
	"os"
	"strings"
	"sync"
	"testing"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"
)

const patience = 10 * time.Second

// Client is somebody at the broker who remembers what was heard.
type Client struct {
	paho.Client
	t    testing.TB
	conn net.Conn

	mu    sync.Mutex
	heard []string // topic and payload
	lost  chan struct{}
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

// Dial tries to connect; change may be nil.
func Dial(t testing.TB, address string, secure *tls.Config, change func(*paho.ClientOptions)) (*Client, error) {
	c := &Client{t: t, lost: make(chan struct{})}
	o := paho.NewClientOptions().AddBroker("ssl://" + address).SetClientID("").SetProtocolVersion(4).
		SetAutoReconnect(false).SetConnectRetry(false).SetOrderMatters(true).SetConnectTimeout(patience).
		SetClientID("test-" + strings.ReplaceAll(time.Now().Format("150405.000000000"), ".", "")).
		SetConnectionLostHandler(func(paho.Client, error) { close(c.lost) }).
		SetCustomOpenConnectionFn(func(*url.URL, paho.ClientOptions) (net.Conn, error) {
			var err error
			c.conn, err = tls.DialWithDialer(&net.Dialer{Timeout: patience}, "tcp", address, secure)
			return c.conn, err
		})
	if change != nil {
		change(o)
	}
	c.Client = paho.NewClient(o)
	token := c.Connect()
	token.WaitTimeout(patience)
	if token.Error() != nil {
		return nil, token.Error()
	}
	t.Cleanup(func() { c.Disconnect(0) })
	return c, nil
}

// Join is Dial, which must succeed.
func Join(t testing.TB, address string, secure *tls.Config, change func(*paho.ClientOptions)) *Client {
	t.Helper()
	c, err := Dial(t, address, secure, change)
	if err != nil {
		t.Fatalf("not let in: %v", err)
	}
	return c
}

// Hear subscribes. Whether the broker sends anything is another matter: it grants every
// subscription and looks at the rules when it delivers.
func (c *Client) Hear(filters ...string) {
	c.t.Helper()
	for _, f := range filters {
		// The client of this test looks for handlers by the filter; one handler takes all.
		token := c.Subscribe(f, 0, func(_ paho.Client, m paho.Message) {
			c.mu.Lock()
			defer c.mu.Unlock()
			c.heard = append(c.heard, m.Topic()+" "+string(m.Payload()))
		})
		if !token.WaitTimeout(patience) || token.Error() != nil {
			c.t.Fatalf("not subscribed to %s: %v", f, token.Error())
		}
	}
}

// Say publishes with QoS 1. Mosquitto acknowledges also what its rules forbid.
func (c *Client) Say(topic, payload string, retained bool) {
	c.t.Helper()
	token := c.Publish(topic, 1, retained, payload)
	if !token.WaitTimeout(patience) || token.Error() != nil {
		c.t.Fatalf("not published to %s: %v", topic, token.Error())
	}
}

// Heard reports whether something was heard, after everything that the broker has taken so far
// has come.
func (c *Client) Heard(topic, payload string) bool {
	c.t.Helper()
	c.fence()
	c.mu.Lock()
	defer c.mu.Unlock()
	for _, h := range c.heard {
		if h == topic+" "+payload {
			return true
		}
	}
	return false
}

// All is what was heard.
func (c *Client) All() []string {
	c.fence()
	c.mu.Lock()
	defer c.mu.Unlock()
	return append([]string(nil), c.heard...)
}

// fence waits for a round to the broker, behind which nothing that was on its way is left.
func (c *Client) fence() {
	token := c.Subscribe("fence", 0, func(paho.Client, paho.Message) {})
	token.WaitTimeout(patience)
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
