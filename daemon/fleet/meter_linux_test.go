package main

import (
	"context"
	"io"
	"net"
	"sync"
	"sync/atomic"
	"syscall"
	"testing"

	"golang.org/x/sys/unix"
)

// meter is a line that counts what passes: bytes of TCP each way, and packets by the kernel's
// count, no larger than a usual line takes.
type meter struct {
	listener net.Listener
	to       string
	up, down atomic.Int64
	packets  atomic.Int64 // of connections that are over
	mu       sync.Mutex
	open     map[*net.TCPConn]bool
}

const (
	// segment is what a packet carries on a line of 1,500 bytes a packet, less what tunnels take.
	segment = 1400
	// header is what IPv4 and TCP with timestamps put before it.
	header = 20 + 20 + 12
)

func lay(t *testing.T, to string) *meter {
	t.Helper()
	set := net.ListenConfig{Control: func(_, _ string, c syscall.RawConn) error {
		var err error
		if e := c.Control(func(fd uintptr) { err = unix.SetsockoptInt(int(fd), unix.IPPROTO_TCP, unix.TCP_MAXSEG, segment) }); e != nil {
			return e
		}
		return err
	}}
	l, err := set.Listen(context.Background(), "tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	m := &meter{listener: l, to: to, open: map[*net.TCPConn]bool{}}
	var all sync.WaitGroup
	all.Go(func() {
		for {
			near, err := l.Accept()
			if err != nil {
				return
			}
			all.Go(func() { m.carry(near.(*net.TCPConn)) })
		}
	})
	t.Cleanup(func() {
		_ = l.Close()
		m.mu.Lock()
		for c := range m.open {
			_ = c.Close()
		}
		m.mu.Unlock()
		all.Wait()
	})
	return m
}

func (m *meter) carry(near *net.TCPConn) {
	far, err := net.Dial("tcp", m.to)
	if err != nil {
		_ = near.Close()
		return
	}
	m.mu.Lock()
	m.open[near] = true
	m.mu.Unlock()
	var both sync.WaitGroup
	both.Go(func() { _, _ = io.Copy(counted{far, &m.up}, near); _ = far.Close() })
	both.Go(func() { _, _ = io.Copy(counted{near, &m.down}, far); _ = near.CloseWrite() })
	both.Wait()
	m.mu.Lock()
	defer m.mu.Unlock()
	delete(m.open, near)
	m.packets.Add(packetsOf(near))
	_ = near.Close()
}

type counted struct {
	io.Writer
	n *atomic.Int64
}

func (c counted) Write(b []byte) (int, error) {
	c.n.Add(int64(len(b)))
	return c.Writer.Write(b)
}

// packetsOf is how many packets a connection has taken both ways, acknowledgements included.
func packetsOf(c *net.TCPConn) (n int64) {
	raw, err := c.SyscallConn()
	if err != nil {
		return 0
	}
	_ = raw.Control(func(fd uintptr) {
		if info, err := unix.GetsockoptTCPInfo(int(fd), unix.IPPROTO_TCP, unix.TCP_INFO); err == nil {
			n = int64(info.Segs_in) + int64(info.Segs_out)
		}
	})
	return n
}

// count is what has passed until now: bytes of TCP, and packets.
func (m *meter) count() wire {
	m.mu.Lock()
	defer m.mu.Unlock()
	w := wire{m.up.Load(), m.down.Load(), m.packets.Load()}
	for c := range m.open {
		w.packets += packetsOf(c)
	}
	return w
}

// wire is what has passed a line.
type wire struct{ up, down, packets int64 }

func (w wire) less(o wire) wire { return wire{w.up - o.up, w.down - o.down, w.packets - o.packets} }

// all is every byte on the line, headers included.
func (w wire) all() int64 { return w.up + w.down + w.packets*header }
