package fetch_test

import (
	"io"
	"net"
	"sync"
	"testing"
)

// proxy is a line that breaks: the n-th connection lets as many bytes through in each
// direction as budgets says, and is cut; those after the last are not.
type proxy struct {
	listener net.Listener
	target   string

	mu      sync.Mutex
	budgets []budget
	cuts    int
}

// budget is how much goes through; zero is no bound.
type budget struct{ up, down int64 }

func newProxy(t *testing.T, target string, budgets ...budget) *proxy {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = l.Close() })
	p := &proxy{listener: l, target: target, budgets: budgets}
	go p.serve()
	return p
}

func (p *proxy) addr() string { return p.listener.Addr().String() }

func (p *proxy) count() int {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.cuts
}

func (p *proxy) serve() {
	for {
		near, err := p.listener.Accept()
		if err != nil {
			return
		}
		var b budget
		p.mu.Lock()
		if len(p.budgets) > 0 {
			b, p.budgets = p.budgets[0], p.budgets[1:]
		}
		p.mu.Unlock()
		go p.carry(near, b)
	}
}

func (p *proxy) carry(near net.Conn, b budget) {
	far, err := net.Dial("tcp", p.target)
	if err != nil {
		_ = near.Close()
		return
	}
	done := make(chan bool, 2)
	pipe := func(to, from net.Conn, most int64) {
		if most > 0 {
			n, _ := io.CopyN(to, from, most)
			done <- n == most
			return
		}
		_, _ = io.Copy(to, from)
		done <- false
	}
	go pipe(far, near, b.up)
	go pipe(near, far, b.down)
	if <-done {
		p.mu.Lock()
		p.cuts++
		p.mu.Unlock()
	}
	// Hard, as a router that is switched off: no farewell.
	for _, c := range []net.Conn{near, far} {
		_ = c.(*net.TCPConn).SetLinger(0)
		_ = c.Close()
	}
}
