// Package broker is the MQTT broker inside the program, for a house without one.
//
// Without users it listens on loopback only, where anybody may read, so that a reader on the
// same board (a home automation, a script) can subscribe. With users nobody comes in without
// a password, wherever it listens, and each reads and commands what the configuration says.
// The publisher has a door of its own. Everything that others can ask for has a limit, and
// what is refused is counted.
//
// It keeps nothing on disk but the retained messages that [Keep] names: the publisher sends
// the others again at each start.
package broker

import (
	"context"
	"crypto/rand"
	"crypto/tls"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"sync/atomic"
	"time"

	mochi "github.com/mochi-mqtt/server/v2"
	"github.com/mochi-mqtt/server/v2/packets"
)

// Limits of a broker that shares a small board with the alarm loop.
const (
	maxClients  = 32        // guests at once
	maxOwn      = 4         // at the publisher's door
	maxEach     = 8         // from one address elsewhere
	maxPacket   = 256 << 10 // bytes
	maxPending  = 256       // messages that a slow reader may lag behind
	maxInflight = 256
	maxSession  = 24 * 60 * 60 // s that an absent reader's session is kept
	// The library deletes what was retained longer ago than this, a day by default. It
	// measures by the wall clock, which on a board without one jumps by decades when it
	// is set: 1000 years, in s.
	retainFor = 1000 * 365 * 24 * 60 * 60

	mostSessions      = 64  // present and absent
	mostSubscriptions = 32  // of one guest
	mostLevels        = 10  // of a topic or filter
	mostTopic         = 256 // bytes
	mostClientID      = 128 // bytes
	mostPayload       = 16 << 10
	mostRetained      = 256
	mostRetainedBytes = 2 << 20
	// A guest may send as much as a fetch of a trend needs several times over.
	mostAtOnce    = 100
	mostPerSecond = 50
)

// Options is what the broker needs to know.
type Options struct {
	// Listen is an address with port, "127.0.0.1:1883"; port 0 takes a free one. It is on
	// loopback where there are no users.
	Listen string
	// Open opens an address; nil takes net.Listen.
	Open func(network, address string) (net.Listener, error)
	// TLS holds the broker's certificate; nil without encryption.
	TLS *tls.Config
	// Root is what the topics of the site begin with, "fluewright/cellar-7/".
	Root string
	// Views are filters of what else is published about the site.
	Views []string
	// Users may connect; without any, anybody on this computer may.
	Users []User
	// ClientID is the publisher's; nobody else may connect with it and throw it out.
	ClientID string
	// Retained lists the topics on which the publisher retains: on those it is safe from
	// a race in the library.
	Retained []string
	// Keep says which of what is retained there outlasts the program; without a directory
	// nothing does.
	Keep Keep
	Log  *slog.Logger
}

// Stats is how the broker does.
type Stats struct {
	Clients       int // connections of guests
	Retained      int // messages
	RetainedBytes int
	// Refused counts what was refused, by the reason; every reason is there.
	Refused map[string]uint64
	// SaveErrors counts attempts to keep retained messages that failed.
	SaveErrors uint64
}

// Broker is a running broker.
type Broker struct {
	server   *mochi.Server
	guests   *door
	own      *door
	password string
	refused  *refusals
	retained *retained
	shelf    *shelf // nil where nothing is kept
}

const (
	// publisherName is the publisher's; the dot keeps it from being a user's.
	publisherName = "this.program"

	ownDoor   = "own"
	guestDoor = "guests"
)

// Start opens the listeners and serves until Close.
func Start(o Options) (_ *Broker, err error) {
	if len(o.Users) == 0 {
		if err := loopbackOnly(o.Listen); err != nil {
			return nil, err
		}
	}
	if o.Open == nil {
		o.Open = net.Listen
	}
	limits := mochi.NewDefaultServerCapabilities()
	limits.MaximumClients = maxClients + maxOwn // the doors let no more in
	limits.MaximumPacketSize = maxPacket
	limits.MaximumClientWritesPending = maxPending
	limits.MaximumInflight = maxInflight
	limits.MaximumSessionExpiryInterval = maxSession
	limits.MaximumMessageExpiryInterval = int64(retainFor)
	limits.TopicAliasMaximum = 0
	limits.SharedSubAvailable = 0
	b := &Broker{
		// The library repeats whole packets of strangers in its log; what is refused is said
		// elsewhere.
		server:   mochi.New(&mochi.Options{Capabilities: limits, Logger: slog.New(graveOnly{o.Log.Handler()})}),
		password: rand.Text(),
		refused:  newRefusals(o.Log),
	}
	if o.Keep.Dir != "" {
		b.shelf = newShelf(o.Keep, o.Log)
	}
	b.retained = newRetained(b.server.Topics, o.Retained, b.shelf, b.refused)
	if err := errors.Join(
		b.server.AddHook(newAccess(&o, b.password, b.server.Clients, b.refused), nil),
		b.server.AddHook(b.retained, nil),
		b.server.AddHook(&takeOver{clients: b.server.Clients}, nil),
	); err != nil {
		return nil, fmt.Errorf("set up the MQTT broker: %w", err)
	}
	if b.guests, err = b.open(&o, guestDoor, o.Listen, o.TLS, maxClients, maxEach); err != nil {
		return nil, err
	}
	b.own, err = b.open(&o, ownDoor, "127.0.0.1:0", nil, maxOwn, maxOwn)
	if err != nil { // a computer that knows the newer protocol alone
		b.own, err = b.open(&o, ownDoor, "[::1]:0", nil, maxOwn, maxOwn)
	}
	if err != nil {
		return nil, errors.Join(err, b.guests.listen.Close())
	}
	if err := b.server.Serve(); err != nil {
		return nil, fmt.Errorf("serve MQTT clients: %w", err)
	}
	if b.shelf != nil {
		go b.shelf.run()
	}
	return b, nil
}

func (b *Broker) open(o *Options, id, address string, secure *tls.Config, most, each int) (*door, error) {
	listen, err := o.Open("tcp", address)
	if err != nil {
		return nil, fmt.Errorf("listen for MQTT clients on %s: %w", address, err)
	}
	d := newDoor(id, listen, secure, most, each, b.refused, o.Log)
	if err := b.server.AddListener(d); err != nil {
		return nil, fmt.Errorf("listen for MQTT clients on %s: %w", address, errors.Join(err, listen.Close()))
	}
	return d, nil
}

// graveOnly passes on errors alone.
type graveOnly struct{ slog.Handler }

// Enabled holds for errors.
func (h graveOnly) Enabled(ctx context.Context, l slog.Level) bool {
	return l >= slog.LevelError && h.Handler.Enabled(ctx, l)
}

// WithAttrs keeps the rule.
func (h graveOnly) WithAttrs(attrs []slog.Attr) slog.Handler {
	return graveOnly{h.Handler.WithAttrs(attrs)}
}

// WithGroup keeps the rule.
func (h graveOnly) WithGroup(name string) slog.Handler { return graveOnly{h.Handler.WithGroup(name)} }

// Addr is the address that the broker listens on for guests, "127.0.0.1:1883".
func (b *Broker) Addr() string { return b.guests.Address() }

// URL is that address as a guest writes it, "tcp://127.0.0.1:1883" or "ssl://…".
func (b *Broker) URL() string {
	if b.guests.tls != nil {
		return "ssl://" + b.Addr()
	}
	return "tcp://" + b.Addr()
}

// Own is where the publisher in this process connects, "tcp://127.0.0.1:40001": always this
// computer, never encrypted, and of no use to anybody without the password.
func (b *Broker) Own() string { return "tcp://" + b.own.Address() }

// Stats returns how the broker does.
func (b *Broker) Stats() Stats {
	s := Stats{Refused: b.refused.counts()}
	b.guests.mu.Lock()
	s.Clients = len(b.guests.open)
	b.guests.mu.Unlock()
	s.Retained, s.RetainedBytes = b.retained.held()
	if b.shelf != nil {
		s.SaveErrors = b.shelf.failed()
	}
	return s
}

// Credentials returns the user and the password of the publisher in this process; the
// password is a new one at each start and is written nowhere.
func (b *Broker) Credentials() (user, password string) { return publisherName, b.password }

// closesWithin is how long each half of Close may take.
const closesWithin = 300 * time.Millisecond

// Close disconnects everybody and stops listening.
//
// The library's own Close takes a lock twice and hangs for ever when a client leaves at
// that moment: so everybody is sent away first, and a Close that hangs all the same is
// left behind, since a program that was told to end must end.
func (b *Broker) Close() error {
	if b.shelf != nil {
		defer b.shelf.close(closesWithin)
	}
	for _, c := range b.server.Clients.GetAll() {
		if !c.Net.Inline {
			c.Stop(packets.ErrServerShuttingDown)
		}
	}
	for deadline := time.Now().Add(closesWithin); time.Now().Before(deadline) && b.connected(); {
		time.Sleep(time.Millisecond)
	}
	closed := make(chan error, 1)
	go func() { closed <- b.server.Close() }()
	select {
	case err := <-closed:
		if err != nil {
			return fmt.Errorf("stop the MQTT broker: %w", err)
		}
		return nil
	case <-time.After(closesWithin):
		return nil
	}
}

// connected reports whether a connection is still known whose end the library has not
// seen to.
func (b *Broker) connected() bool {
	return atomic.LoadInt64(&b.server.Info.ClientsConnected) > 0
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
	return errors.New("without users the MQTT broker in this program listens on loopback only, 127.0.0.1:1883 or [::1]:1883, not on " + listen)
}
