// Package broker is the MQTT broker inside the program, for a house without one.
//
// It listens on loopback only, so that a reader on the same board (a home automation, a
// script) can subscribe; whatever is off the board belongs on a real broker with users.
// It keeps nothing on disk: the publisher sends what is retained again at each start.
package broker

import (
	"crypto/rand"
	"errors"
	"fmt"
	"log/slog"
	"net"

	mochi "github.com/mochi-mqtt/server/v2"
	"github.com/mochi-mqtt/server/v2/listeners"
)

// Limits of a broker that shares a small board with the alarm loop.
const (
	maxClients  = 32
	maxPacket   = 256 << 10 // bytes
	maxPending  = 256       // messages that a slow reader may lag behind
	maxInflight = 256
	maxSession  = 24 * 60 * 60 // s that an absent reader's session is kept
	// The library deletes what was retained longer ago than this, a day by default. It
	// measures by the wall clock, which on a board without one jumps by decades when it
	// is set: 1000 years, in s.
	retainFor = 1000 * 365 * 24 * 60 * 60
)

// Options is what the broker needs to know.
type Options struct {
	// Listen is a loopback address with port, "127.0.0.1:1883"; port 0 takes a free one.
	Listen string
	// ClientID is the publisher's; nobody else may connect with it and throw it out.
	ClientID string
	// Retained lists the topics on which the publisher retains: on those it is safe from
	// a race in the library.
	Retained []string
	Log      *slog.Logger
}

// Broker is a running broker.
type Broker struct {
	server   *mochi.Server
	addr     string
	password string
}

// publisherName is the user that may write everywhere.
const publisherName = "publisher"

// Start opens the listener and serves until Close.
func Start(o Options) (*Broker, error) {
	if err := loopbackOnly(o.Listen); err != nil {
		return nil, err
	}
	limits := mochi.NewDefaultServerCapabilities()
	limits.MaximumClients = maxClients
	limits.MaximumPacketSize = maxPacket
	limits.MaximumClientWritesPending = maxPending
	limits.MaximumInflight = maxInflight
	limits.MaximumSessionExpiryInterval = maxSession
	limits.MaximumMessageExpiryInterval = int64(retainFor)
	b := &Broker{
		server:   mochi.New(&mochi.Options{Capabilities: limits, Logger: o.Log}),
		password: rand.Text(),
	}
	access := &access{password: []byte(b.password), publisherID: o.ClientID}
	keep := newRetained(b.server.Topics, o.Retained)
	if err := errors.Join(b.server.AddHook(access, nil), b.server.AddHook(keep, nil)); err != nil {
		return nil, fmt.Errorf("set up the MQTT broker: %w", err)
	}
	tcp := listeners.NewTCP(listeners.Config{ID: "loopback", Address: o.Listen})
	if err := b.server.AddListener(tcp); err != nil {
		return nil, fmt.Errorf("listen for MQTT clients on %s: %w", o.Listen, err)
	}
	b.addr = tcp.Address()
	if err := b.server.Serve(); err != nil {
		return nil, fmt.Errorf("serve MQTT clients: %w", err)
	}
	return b, nil
}

// Addr is the address that the broker listens on, "127.0.0.1:1883".
func (b *Broker) Addr() string { return b.addr }

// URL is the address as the publisher takes it, "tcp://127.0.0.1:1883".
func (b *Broker) URL() string { return "tcp://" + b.addr }

// Credentials returns the user and the password of the publisher in this process; the
// password is a new one at each start and is written nowhere.
func (b *Broker) Credentials() (user, password string) { return publisherName, b.password }

// Close disconnects everybody and stops listening.
func (b *Broker) Close() error {
	if err := b.server.Close(); err != nil {
		return fmt.Errorf("stop the MQTT broker: %w", err)
	}
	return nil
}

// loopbackOnly refuses an address that others than this computer could reach: without
// users the broker cannot tell a reader from an intruder.
func loopbackOnly(listen string) error {
	host, _, err := net.SplitHostPort(listen)
	if err != nil {
		return fmt.Errorf("read the MQTT broker's address: %w", err)
	}
	if ip := net.ParseIP(host); host == "localhost" || ip != nil && ip.IsLoopback() {
		return nil
	}
	return errors.New("the MQTT broker in this program listens on loopback only, 127.0.0.1:1883 or [::1]:1883, not on " + listen)
}
