package web

import (
	"context"
	"net"
	"net/http"
	"net/netip"
	"slices"
	"sync"
)

// How many connections there may be. One address is a house behind one router at most: fifty
// open pages with what each of them loads.
const (
	mostConnections = 384
	mostOfAddress   = 128
)

// crowd bounds how many connections there are, at all entrances together. Where there are too many one goes that lets the
// server wait for its request, so that many who send slowly or nothing push out each other,
// and nobody who asks for something.
type crowd struct {
	mu  sync.Mutex
	all []*guest // in the order in which they came, or asked last
}

// entrance lets guests of a listener in.
type entrance struct {
	net.Listener
	crowd *crowd
}

// guest is one connection.
type guest struct {
	net.Conn
	crowd  *crowd
	from   netip.Prefix
	served bool // has sent a whole request, which is being answered
	gone   bool
}

// Accept waits for the next one.
func (e *entrance) Accept() (net.Conn, error) {
	conn, err := e.Listener.Accept()
	if err != nil {
		return nil, err
	}
	g := &guest{Conn: conn, crowd: e.crowd, from: street(conn.RemoteAddr())}
	if out := e.crowd.admit(g); out != nil {
		_ = out.Close() // g itself where everybody else is being served
	}
	return g, nil
}

// admit takes a guest in and says who must go for that: one who is not being answered, of the
// address that has the most connections, and of those the one that has waited longest.
func (c *crowd) admit(g *guest) (out *guest) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.all = append(c.all, g)
	of := make(map[netip.Prefix]int)
	for _, other := range c.all {
		of[other.from]++
	}
	if of[g.from] <= mostOfAddress && len(c.all) <= mostConnections {
		return nil
	}
	out = g
	for _, other := range c.all {
		if !other.served && (of[other.from] > of[out.from] || out == g && of[other.from] == of[out.from]) {
			out = other
		}
	}
	return out
}

// serve says whether a guest is being answered; then it waits for the next request as the
// newest.
func (c *crowd) serve(g *guest, served bool) {
	c.mu.Lock()
	defer c.mu.Unlock()
	if g.gone {
		return
	}
	g.served = served
	c.all = append(slices.DeleteFunc(c.all, func(other *guest) bool { return other == g }), g)
}

// Close ends the connection.
func (g *guest) Close() error {
	g.crowd.mu.Lock()
	g.gone = true
	g.crowd.all = slices.DeleteFunc(g.crowd.all, func(other *guest) bool { return other == g })
	g.crowd.mu.Unlock()
	return g.Conn.Close()
}

// street is what counts as one address: a computer has all of an IPv6 subnet to choose from.
func street(a net.Addr) netip.Prefix {
	at, err := netip.ParseAddrPort(a.String())
	if err != nil {
		return netip.Prefix{}
	}
	ip, bits := at.Addr().Unmap().WithZone(""), 64
	if ip.Is4() {
		bits = 32
	}
	p, _ := ip.Prefix(bits) // fits
	return p
}

type guestKey struct{}

// introduce lets a request's handler know whose it is.
func introduce(ctx context.Context, conn net.Conn) context.Context {
	if t, ok := conn.(interface{ NetConn() net.Conn }); ok { // TLS
		conn = t.NetConn()
	}
	return context.WithValue(ctx, guestKey{}, conn)
}

// attend marks who is being answered. It comes behind the guard, for which a form must have
// come whole.
func attend(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if g, ok := r.Context().Value(guestKey{}).(*guest); ok {
			g.crowd.serve(g, true)
			defer g.crowd.serve(g, false)
		}
		next.ServeHTTP(w, r)
	})
}
