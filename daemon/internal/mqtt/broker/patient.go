package broker

import (
	"net"
	"os"
	"sync"
	"time"
)

// patient is a connection whose writer need not wait for a reader that has fallen asleep.
// The library writes with the client's lock held, and takes that lock to send anybody's
// message to the client: one reader that stops reading would hold up everybody's alarms.
type patient struct {
	net.Conn

	mu      sync.Mutex
	changed *sync.Cond
	waiting []byte
	closed  bool
	until   time.Time // when the last word must be said, once closed
	err     error
	gone    chan struct{} // closed when nothing will be written any more
}

const (
	// mostWaiting is what may wait for a reader. A writer with more waits too, and not long.
	mostWaiting = 512 << 10
	// oneWrite is how long a reader may take for one piece, of a size that a slow line takes
	// within it.
	oneWrite = 5 * time.Second
	piece    = 16 << 10
	// lastWords is how long what waits is still sent after Close: a refusal with its reason.
	lastWords = 200 * time.Millisecond
)

func newPatient(c net.Conn) *patient {
	p := &patient{Conn: c, gone: make(chan struct{})}
	p.changed = sync.NewCond(&p.mu)
	go p.run()
	return p
}

// Write takes b over. It fails if the connection has failed before.
func (p *patient) Write(b []byte) (int, error) {
	p.mu.Lock()
	defer p.mu.Unlock()
	for len(p.waiting) > 0 && len(p.waiting)+len(b) > mostWaiting && !p.closed && p.err == nil {
		p.changed.Wait() // run goes on or fails within oneWrite
	}
	switch {
	case p.err != nil:
		return 0, p.err
	case p.closed:
		return 0, net.ErrClosed
	}
	p.waiting = append(p.waiting, b...)
	p.changed.Broadcast()
	return len(b), nil
}

// run writes what waits until there is an end of it.
func (p *patient) run() {
	defer close(p.gone)
	defer p.Conn.Close()
	for {
		p.mu.Lock()
		for len(p.waiting) == 0 && !p.closed {
			p.changed.Wait()
		}
		next := p.waiting
		p.waiting = nil
		p.mu.Unlock()
		if len(next) == 0 {
			return
		}
		if err := p.send(next); err != nil {
			p.mu.Lock()
			p.err, p.waiting = err, nil
			p.changed.Broadcast()
			p.mu.Unlock()
			return
		}
		p.mu.Lock()
		p.changed.Broadcast()
		p.mu.Unlock()
	}
}

func (p *patient) send(b []byte) error {
	for len(b) > 0 {
		if err := p.limit(); err != nil {
			return err
		}
		n, err := p.Conn.Write(b[:min(len(b), piece)])
		if err != nil {
			return err
		}
		b = b[n:]
	}
	return nil
}

// limit says until when the next piece must be written.
func (p *patient) limit() error {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.closed {
		return p.Conn.SetWriteDeadline(p.until)
	}
	return p.Conn.SetWriteDeadline(time.Now().Add(oneWrite))
}

// SetDeadline is about reading alone: how long a write may take is not the library's to say.
func (p *patient) SetDeadline(t time.Time) error { return p.SetReadDeadline(t) }

// Close ends reading at once, and writing when what waits is sent or takes too long.
func (p *patient) Close() error {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.closed {
		return os.ErrClosed
	}
	p.closed, p.until = true, time.Now().Add(lastWords)
	_ = p.Conn.SetReadDeadline(time.Unix(1, 0))
	_ = p.Conn.SetWriteDeadline(p.until)
	p.changed.Broadcast()
	return nil
}

// end closes the connection and waits until that is done.
func (p *patient) end() {
	_ = p.Close()
	<-p.gone
}
