package app

import (
	"context"
	"errors"
	"fmt"
	"net"
	"sync"
	"syscall"
)

// memnet is a network in memory, on which time can be played: who waits for it sleeps as far
// as a synctest bubble is concerned.
type memnet struct {
	mu    sync.Mutex
	ports map[string]*memListener
	last  int // port
}

// listen opens an address of this computer's; port 0 takes a free one.
func (n *memnet) listen(_, address string) (net.Listener, error) {
	host, port, err := net.SplitHostPort(address)
	if err != nil {
		return nil, err
	}
	n.mu.Lock()
	defer n.mu.Unlock()
	if port == "0" {
		n.last++
		port = fmt.Sprint(40000 + n.last%20000)
	}
	at, err := net.ResolveTCPAddr("tcp", net.JoinHostPort(host, port))
	if err != nil {
		return nil, err
	}
	if n.ports == nil {
		n.ports = map[string]*memListener{}
	}
	if n.ports[at.String()] != nil {
		return nil, syscall.EADDRINUSE
	}
	l := &memListener{net: n, at: at, calls: make(chan net.Conn), gone: make(chan struct{})}
	n.ports[at.String()] = l
	return l, nil
}

func (n *memnet) dial(ctx context.Context, _, address string) (net.Conn, error) {
	n.mu.Lock()
	l := n.ports[address]
	n.last++
	from := &net.TCPAddr{IP: net.IPv4(127, 0, 0, 1), Port: 1024 + n.last%30000}
	n.mu.Unlock()
	if l == nil {
		return nil, syscall.ECONNREFUSED
	}
	near, far := net.Pipe()
	select {
	case l.calls <- &memConn{far, l.at, from}:
		return &memConn{near, from, l.at}, nil
	case <-l.gone:
		return nil, errors.Join(syscall.ECONNREFUSED, near.Close(), far.Close())
	case <-ctx.Done():
		return nil, errors.Join(ctx.Err(), near.Close(), far.Close())
	}
}

// memListener is who listens at an address.
type memListener struct {
	net   *memnet
	at    net.Addr
	calls chan net.Conn
	gone  chan struct{}
	once  sync.Once
}

func (l *memListener) Accept() (net.Conn, error) {
	select {
	case c := <-l.calls:
		return c, nil
	case <-l.gone:
		return nil, net.ErrClosed
	}
}

func (l *memListener) Close() error {
	l.once.Do(func() {
		close(l.gone)
		l.net.mu.Lock()
		delete(l.net.ports, l.at.String())
		l.net.mu.Unlock()
	})
	return nil
}

func (l *memListener) Addr() net.Addr { return l.at }

// memConn is one end of a pipe with the addresses that it would have.
type memConn struct {
	net.Conn
	near, far net.Addr
}

func (c *memConn) LocalAddr() net.Addr  { return c.near }
func (c *memConn) RemoteAddr() net.Addr { return c.far }
