package broker

import (
	"errors"
	"net"
	"os"
	"sync"
	"sync/atomic"
	"time"
)

// patient is a connection whose writer need not wait for a reader that has fallen asleep.
// The library writes with the client's lock held, and takes that lock to send anybody's
// message to the client: one reader that stops reading would hold up everybody's alarms.
type patient struct {
	net.Conn

	all *atomic.Int64 // what waits for all readers together, bytes

	mu      sync.Mutex
	changed *sync.Cond
	waiting []byte
	held    int // bytes that are waiting or being written
	closed  bool
	until   time.Time // when the last word must be said, once closed
	err     error
	gone    chan struct{} // closed when nothing will be written any more
}

const (
	// mostWaiting is what may wait for one reader: as much as one command brings of a trend.
	// mostWaitingInAll is what may wait for all of them.
	mostWaiting      = 2 << 20
	mostWaitingInAll = 8 << 20
	// oneWrite is how long a reader may take for one piece, of a size that a slow line takes
	// within it.
	oneWrite = 5 * time.Second
	piece    = 16 << 10
	// lastWords is how long what waits is still sent after Close: a refusal with its reason.
	lastWords = 200 * time.Millisecond
)

// errTooSlow ends the connection of a reader for whom too much waits.
var errTooSlow = errors.New("the reader is too slow")

func newPatient(c net.Conn, all *atomic.Int64) *patient {
	p := &patient{Conn: c, all: all, gone: make(chan struct{})}
	p.changed = sync.NewCond(&p.mu)
	go p.run()
	return p
}

// Write takes b over, and never waits. It fails if the connection has failed before, and
// where too much waits it ends it.
func (p *patient) Write(b []byte) (int, error) {
	p.mu.Lock()
	defer p.mu.Unlock()
	switch {
	case p.err != nil:
		return 0, p.err
	case p.closed:
		return 0, net.ErrClosed
	case p.held+len(b) > mostWaiting || p.all.Add(int64(len(b))) > mostWaitingInAll:
		if p.held+len(b) <= mostWaiting {
			p.all.Add(-int64(len(b)))
		}
		p.err = errTooSlow
		_ = p.Conn.Close()
		p.changed.Broadcast()
		return 0, p.err
	}
	p.held += len(b)
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
		for len(p.waiting) == 0 && !p.closed && p.err == nil {
			p.changed.Wait()
		}
		next := p.waiting
		p.waiting = nil
		p.mu.Unlock()
		if len(next) == 0 {
			return
		}
		err := p.send(next)
		p.mu.Lock()
		p.all.Add(-int64(len(next)))
		p.held -= len(next)
		if err != nil {
			p.all.Add(-int64(len(p.waiting)))
			p.held, p.waiting = 0, nil
			if p.err == nil {
				p.err = err
			}
			p.mu.Unlock()
			return
		}
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

// slow reports whether the connection was ended because its reader was.
func (p *patient) slow() bool {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.err != nil && (errors.Is(p.err, errTooSlow) || errors.Is(p.err, os.ErrDeadlineExceeded) && !p.closed)
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
