package mqtt

import (
	"encoding/json"
	"net"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/eclipse/paho.mqtt.golang/packets"
)

// hostile is a broker that does what a test wants with each message, and keeps what it got.
type hostile struct {
	listener net.Listener

	mu    sync.Mutex
	conns map[net.Conn]bool
	got   []heard
	// answer says what becomes of a message: whether it is acknowledged, and whether the
	// connection is cut then. nil: all are acknowledged.
	answer func(heard) (acknowledge, cut bool)
	closed bool // nobody is let in
	// forgetful keeps nothing.
	forgetful bool
}

// heard is a message that came.
type heard struct {
	topic    string // below the site's root
	payload  []byte
	id       string // of an event
	acked    bool
	retained bool
	conn     int
}

func startHostile(t testing.TB) *hostile {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	h := &hostile{listener: l, conns: map[net.Conn]bool{}}
	var wg sync.WaitGroup
	wg.Go(func() {
		for n := 1; ; n++ {
			c, err := l.Accept()
			if err != nil {
				return
			}
			h.mu.Lock()
			if h.closed {
				_ = c.Close()
			} else {
				h.conns[c] = true
				wg.Go(func() { h.serve(c, n) })
			}
			h.mu.Unlock()
		}
	})
	t.Cleanup(func() { _ = l.Close(); h.cut(); wg.Wait() })
	return h
}

func (h *hostile) url() string { return "tcp://" + h.listener.Addr().String() }

// cut ends all connections.
func (h *hostile) cut() {
	h.mu.Lock()
	defer h.mu.Unlock()
	for c := range h.conns {
		_ = c.Close()
	}
}

// does sets what becomes of messages from now on.
func (h *hostile) does(answer func(heard) (acknowledge, cut bool)) {
	h.mu.Lock()
	defer h.mu.Unlock()
	h.answer = answer
}

func (h *hostile) away(away bool) {
	h.mu.Lock()
	h.closed = away
	h.mu.Unlock()
	if away {
		h.cut()
	}
}

func (h *hostile) serve(c net.Conn, no int) {
	defer func() {
		_ = c.Close()
		h.mu.Lock()
		delete(h.conns, c)
		h.mu.Unlock()
	}()
	for {
		in, err := packets.ReadPacket(c)
		if err != nil {
			return
		}
		var out packets.ControlPacket
		switch in := in.(type) {
		case *packets.ConnectPacket:
			out = packets.NewControlPacket(packets.Connack)
		case *packets.SubscribePacket:
			ack := packets.NewControlPacket(packets.Suback).(*packets.SubackPacket)
			ack.MessageID, ack.ReturnCodes = in.MessageID, make([]byte, len(in.Topics))
			out = ack
		case *packets.PingreqPacket:
			out = packets.NewControlPacket(packets.Pingresp)
		case *packets.PublishPacket:
			acknowledge, cut := h.take(in, no)
			if acknowledge {
				ack := packets.NewControlPacket(packets.Puback).(*packets.PubackPacket)
				ack.MessageID = in.MessageID
				out = ack
			}
			if cut {
				if out != nil {
					_ = out.Write(c)
				}
				return
			}
		case *packets.DisconnectPacket:
			return
		}
		if out != nil && out.Write(c) != nil {
			return
		}
	}
}

func (h *hostile) take(in *packets.PublishPacket, no int) (acknowledge, cut bool) {
	m := heard{topic: in.TopicName[strings.Index(in.TopicName, "/cellar-7/")+len("/cellar-7/"):], payload: in.Payload, retained: in.Retain, conn: no}
	if m.topic == "event" {
		var e struct{ ID string }
		_ = json.Unmarshal(in.Payload, &e)
		m.id = e.ID
	}
	h.mu.Lock()
	defer h.mu.Unlock()
	acknowledge = true
	if h.answer != nil {
		acknowledge, cut = h.answer(m)
	}
	m.acked = acknowledge
	if !h.forgetful {
		h.got = append(h.got, m)
	}
	return acknowledge, cut
}

// of returns what came on a topic.
func (h *hostile) of(topic string) (all []heard) {
	h.mu.Lock()
	defer h.mu.Unlock()
	for _, m := range h.got {
		if m.topic == topic {
			all = append(all, m)
		}
	}
	return all
}

// eventually waits until something is so.
func eventually(t testing.TB, what string, ok func() bool) {
	t.Helper()
	for deadline := time.Now().Add(4 * patience); !ok(); {
		if time.Now().After(deadline) {
			t.Fatalf("it does not come to: %s", what)
		}
		time.Sleep(5 * time.Millisecond)
	}
}
