package broker

import (
	"crypto/tls"
	"errors"
	"log/slog"
	"net"
	"net/netip"
	"runtime/debug"
	"sync"
	"sync/atomic"
	"time"

	"github.com/mochi-mqtt/server/v2/listeners"
	"github.com/mochi-mqtt/server/v2/packets"
)

// door is a listener with limits. The library's own lets in as many connections as come,
// waits for ever for their first word, ends for good when the system is short of files for a
// moment, and takes the whole program with it if a packet makes it panic.
type door struct {
	id      string
	listen  net.Listener
	tls     *tls.Config // nil without TLS
	most    int         // connections at once
	each    int         // of them from one address that is not this computer's
	refused *refusals
	log     *slog.Logger

	waiting atomic.Int64 // bytes that readers have not taken yet

	mu     sync.Mutex
	open   map[net.Conn]netip.Addr
	closed bool
}

// firstWord is how long a connection may take until the library has its CONNECT, and with
// TLS its handshake.
const firstWord = 10 * time.Second

func newDoor(id string, listen net.Listener, secure *tls.Config, most, each int, refused *refusals, log *slog.Logger) *door {
	return &door{
		id: id, listen: listen, tls: secure, most: most, each: each, refused: refused, log: log,
		open: make(map[net.Conn]netip.Addr),
	}
}

// Init has nothing to do: the address is open already.
func (d *door) Init(*slog.Logger) error { return nil }

// ID tells the library's listeners apart.
func (d *door) ID() string { return d.id }

// Address is where it listens.
func (d *door) Address() string { return d.listen.Addr().String() }

// Protocol is for the library's log.
func (d *door) Protocol() string { return "tcp" }

// Serve takes connections until Close.
func (d *door) Serve(establish listeners.EstablishFn) {
	for {
		conn, err := d.listen.Accept()
		if err != nil {
			if errors.Is(err, net.ErrClosed) {
				return
			}
			time.Sleep(100 * time.Millisecond) // it is short of something, for a while
			continue
		}
		if !d.enter(conn) {
			d.refused.add(noConnection, conn.RemoteAddr().String())
			_ = conn.Close()
			continue
		}
		go d.serve(conn, establish)
	}
}

// enter counts a connection in, if there is room.
func (d *door) enter(conn net.Conn) bool {
	from := source(conn.RemoteAddr().String())
	d.mu.Lock()
	defer d.mu.Unlock()
	same := 0
	for _, other := range d.open {
		if other == from {
			same++
		}
	}
	if d.closed || len(d.open) >= d.most || same >= d.each && !from.IsLoopback() {
		return false
	}
	d.open[conn] = from
	return true
}

// serve is one connection from its beginning to its end.
func (d *door) serve(conn net.Conn, establish listeners.EstablishFn) {
	remote := conn.RemoteAddr().String()
	defer func() {
		if p := recover(); p != nil {
			d.log.Error("a client has made the MQTT broker stumble; its connection is ended", "from", remote, "panic", p, "stack", string(debug.Stack()))
			d.refused.add(malformed, remote)
		}
		_ = conn.Close()
		d.mu.Lock()
		delete(d.open, conn)
		d.mu.Unlock()
	}()
	inner := conn
	if d.tls != nil {
		inner = tls.Server(conn, d.tls)
	}
	line := newPatient(inner, &d.waiting)
	defer line.end()
	_ = line.SetDeadline(time.Now().Add(firstWord))
	err := establish(d.id, line)
	if why := reasonOf(err); why != "" {
		d.refused.add(why, remote)
	} else if line.slow() {
		d.refused.add(tooSlow, remote)
	}
}

// reasonOf sorts what ended a connection; empty where that is no refusal, or one that was
// counted where it was made.
func reasonOf(err error) string {
	var code packets.Code
	var handshake tls.RecordHeaderError
	var alert *net.OpError
	switch {
	case err == nil:
		return ""
	case errors.As(err, &handshake), errors.As(err, &alert) && (alert.Op == "remote error" || alert.Op == "local error"):
		return noTLS
	case errors.Is(err, packets.ErrPacketTooLarge):
		return tooLarge
	case errors.Is(err, packets.ErrServerBusy):
		return noConnection
	case errors.Is(err, packets.ErrBadUsernameOrPassword), errors.Is(err, packets.ErrNotAuthorized),
		errors.Is(err, packets.ErrSessionTakenOver), errors.Is(err, packets.ErrServerShuttingDown):
		return ""
	case errors.As(err, &code) && code.Code >= packets.ErrUnspecifiedError.Code:
		return malformed
	}
	return ""
}

// Close stops listening, after the library has ended the clients that it knows.
func (d *door) Close(closeClients listeners.CloseFn) {
	d.mu.Lock()
	d.closed = true
	d.mu.Unlock()
	_ = d.listen.Close() // there is nobody to tell
	closeClients(d.id)
	d.mu.Lock()
	defer d.mu.Unlock()
	for conn := range d.open {
		_ = conn.Close()
	}
}
