// Package linetest is a TCP line that a test can have break, after so many bytes in either
// direction.
package linetest

import (
	"io"
	"net"
	"sync"
	"testing"
)

// Line is a line that breaks: the n-th connection lets as many bytes through in each
// direction as budgets says, and is cut; those after the last are not.
type Line struct {
	listener net.Listener
	target   string

	mu      sync.Mutex
	budgets []Budget
	cuts    int
	conns   map[net.Conn]bool
}

// Budget is how much goes through, in bytes; zero is no bound.
type Budget struct{ Up, Down int64 }

// Lay lays a line to an address.
func Lay(t testing.TB, target string, budgets ...Budget) *Line {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = l.Close() })
	p := &Line{listener: l, target: target, budgets: budgets, conns: map[net.Conn]bool{}}
	go p.serve()
	return p
}

// Addr is where the line begins.
func (p *Line) Addr() string { return p.listener.Addr().String() }

// Breaks is how often it has broken for having carried its budget.
func (p *Line) Breaks() int {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.cuts
}

// Budget replaces what the next connections may carry; none: all of it.
func (p *Line) Budget(budgets ...Budget) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.budgets = budgets
}

// Cut breaks every connection that there is.
func (p *Line) Cut() {
	p.mu.Lock()
	defer p.mu.Unlock()
	for c := range p.conns {
		_ = c.(*net.TCPConn).SetLinger(0)
		_ = c.Close()
	}
}

func (p *Line) serve() {
	for {
		near, err := p.listener.Accept()
		if err != nil {
			return
		}
		var b Budget
		p.mu.Lock()
		if len(p.budgets) > 0 {
			b, p.budgets = p.budgets[0], p.budgets[1:]
		}
		p.mu.Unlock()
		go p.carry(near, b)
	}
}

func (p *Line) carry(near net.Conn, b Budget) {
	far, err := net.Dial("tcp", p.target)
	if err != nil {
		_ = near.Close()
		return
	}
	p.mu.Lock()
	p.conns[near] = true
	p.mu.Unlock()
	defer func() {
		p.mu.Lock()
		delete(p.conns, near)
		p.mu.Unlock()
	}()
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
	go pipe(far, near, b.Up)
	go pipe(near, far, b.Down)
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
