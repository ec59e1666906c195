// Package mqtttest is a broker that does what a test wants with each message: takes it and does
// not say so, breaks off, is away; and how a test listens at any broker.
package mqtttest

import (
	"encoding/json"
	"net"
	"slices"
	"strings"
	"sync"
	"testing"

	"github.com/eclipse/paho.mqtt.golang/packets"
)

// Broker is a broker that does what a test wants with each message, and keeps what it got.
type Broker struct {
	listener net.Listener

	mu    sync.Mutex
	conns map[net.Conn]bool
	got   []Heard
	// answer says what becomes of a message: whether it is acknowledged, and whether the
	// connection is cut then. nil: all are acknowledged.
	answer func(Heard) (acknowledge, cut bool)
	closed bool // nobody is let in
	// forgetful says that nothing is kept.
	forgetful bool
}

// Heard is a message that came.
type Heard struct {
	Topic    string // below the site's root
	Payload  []byte
	ID       string // of an event
	Acked    bool
	Retained bool
	Conn     int
}

// Start starts one, which ends with the test.
func Start(t testing.TB) *Broker {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	return On(t, l)
}

// On is Start on a listener, which it closes.
func On(t testing.TB, l net.Listener) *Broker {
	h := &Broker{listener: l, conns: map[net.Conn]bool{}}
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
	t.Cleanup(func() { _ = l.Close(); h.Cut(); wg.Wait() })
	return h
}

// URL is where it listens.
func (h *Broker) URL() string { return "tcp://" + h.listener.Addr().String() }

// Cut ends all connections.
func (h *Broker) Cut() {
	h.mu.Lock()
	defer h.mu.Unlock()
	for c := range h.conns {
		_ = c.Close()
	}
}

// Does sets what becomes of messages from now on.
func (h *Broker) Does(answer func(Heard) (acknowledge, cut bool)) {
	h.mu.Lock()
	defer h.mu.Unlock()
	h.answer = answer
}

// Away lets nobody in, or everybody again.
func (h *Broker) Away(away bool) {
	h.mu.Lock()
	h.closed = away
	h.mu.Unlock()
	if away {
		h.Cut()
	}
}

func (h *Broker) serve(c net.Conn, no int) {
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

func (h *Broker) take(in *packets.PublishPacket, no int) (acknowledge, cut bool) {
	m := Heard{Topic: below(in.TopicName), Payload: in.Payload, Retained: in.Retain, Conn: no}
	if m.Topic == "event" {
		var e struct{ ID string }
		_ = json.Unmarshal(in.Payload, &e)
		m.ID = e.ID
	}
	h.mu.Lock()
	defer h.mu.Unlock()
	acknowledge = true
	if h.answer != nil {
		acknowledge, cut = h.answer(m)
	}
	m.Acked = acknowledge
	if !h.forgetful {
		h.got = append(h.got, m)
	}
	return acknowledge, cut
}

// below is a topic without its first two levels.
func below(topic string) string {
	parts := strings.SplitN(topic, "/", 3)
	return parts[len(parts)-1]
}

// Keep keeps a message that came another way.
func (h *Broker) Keep(topic string, payload []byte) {
	h.mu.Lock()
	defer h.mu.Unlock()
	h.got = append(h.got, Heard{Topic: below(topic), Payload: payload})
}

// Forget keeps nothing from now on.
func (h *Broker) Forget() {
	h.mu.Lock()
	defer h.mu.Unlock()
	h.forgetful = true
}

// All returns what came.
func (h *Broker) All() []Heard {
	h.mu.Lock()
	defer h.mu.Unlock()
	return slices.Clone(h.got)
}

// Of returns what came on a topic.
func (h *Broker) Of(topic string) (all []Heard) {
	h.mu.Lock()
	defer h.mu.Unlock()
	for _, m := range h.got {
		if m.Topic == topic {
			all = append(all, m)
		}
	}
	return all
}
