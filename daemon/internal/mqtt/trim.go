package mqtt

import (
	"bufio"
	"io"
	"net"
)

// mostTaken bounds a message that is taken from the broker, bytes. The client library reads
// whatever comes into memory, and the protocol allows 256 MB.
const mostTaken = 64 << 10

// trimmed is a connection on which messages that are too large do not arrive: their bytes
// are read and forgotten. What they were sent with (QoS 0, as we subscribe to commands) needs
// no answer.
type trimmed struct {
	net.Conn
	from *bufio.Reader
	drop func()
	head []byte // of the present packet, not handed on yet
	left int    // of it, with the head
}

func trim(c net.Conn, drop func()) *trimmed {
	return &trimmed{Conn: c, from: bufio.NewReader(c), drop: drop}
}

// Read hands on what comes, packet by packet (MQTT 3.1.1, section 2.2).
func (t *trimmed) Read(b []byte) (n int, err error) {
	for t.left == 0 {
		if err := t.begin(); err != nil {
			return 0, err
		}
	}
	if len(t.head) > 0 {
		n = copy(b, t.head)
		t.head = t.head[n:]
	} else {
		n, err = t.from.Read(b[:min(len(b), t.left)])
	}
	t.left -= n
	return n, err
}

// begin reads a packet's fixed header, and forgets the packet if it is too large.
func (t *trimmed) begin() error {
	var head [5]byte
	length, n := 0, 1
	var err error
	if head[0], err = t.from.ReadByte(); err != nil {
		return err
	}
	for shift := 0; ; shift += 7 {
		if n == len(head) {
			break // more than the protocol allows: the library says so
		}
		if head[n], err = t.from.ReadByte(); err != nil {
			return err
		}
		length |= int(head[n]&0x7f) << shift
		n++
		if head[n-1] < 0x80 {
			break
		}
	}
	const publish = 3
	if head[0]>>4 == publish && length > mostTaken {
		t.drop()
		_, err := io.CopyN(io.Discard, t.from, int64(length))
		return err
	}
	t.head, t.left = head[:n:n], n+length
	return nil
}
