package broker

import (
	"bytes"
	"sync"

	mochi "github.com/mochi-mqtt/server/v2"
	"github.com/mochi-mqtt/server/v2/packets"
)

// retained keeps the publisher's retained messages in the library's place. Found by the
// race detector in mochi 2.7.9: RetainMessage writes a topic's path while scanMessages,
// for another client's subscription, reads it unlocked (topics.go, lines 461 and 554).
// Hence the paths are laid before the first client comes and stay, and only the map of
// messages, which has its lock, changes afterwards. A topic that is not known beforehand
// is left to the library.
type retained struct {
	mochi.HookBase
	topics  *mochi.TopicsIndex
	known   map[string]bool
	shelf   *shelf // nil where nothing outlasts the program
	refused *refusals

	mu    sync.Mutex
	sizes map[string]int
	bytes int
}

func newRetained(topics *mochi.TopicsIndex, names []string, shelf *shelf, refused *refusals) *retained {
	r := &retained{topics: topics, known: make(map[string]bool), shelf: shelf, refused: refused, sizes: make(map[string]int)}
	for _, name := range names {
		r.known[name] = true
		// A topic has a path only once something was retained on it.
		topics.RetainMessage(packets.Packet{TopicName: name, Payload: []byte("-")})
		topics.Retained.Delete(name)
	}
	if shelf == nil {
		return r
	}
	for topic, payload := range shelf.load(r.known) {
		if r.room(topic, len(payload)) {
			r.keep(message(topic, payload))
		}
	}
	return r
}

func message(topic string, payload []byte) packets.Packet {
	return packets.Packet{
		FixedHeader: packets.FixedHeader{Type: packets.Publish, Qos: 1, Retain: true},
		TopicName:   topic, Payload: payload,
	}
}

// ID names the hook in the library's log.
func (*retained) ID() string { return "retained" }

// Provides says which of the library's questions the hook answers.
func (*retained) Provides(b byte) bool {
	return bytes.IndexByte([]byte{mochi.OnPublish, mochi.OnWill}, b) >= 0
}

// OnPublish keeps what is to be retained and passes it on as an ordinary message, which
// is what present subscribers are due.
func (r *retained) OnPublish(cl *mochi.Client, pk packets.Packet) (packets.Packet, error) {
	if !pk.FixedHeader.Retain {
		return pk, nil
	}
	switch {
	case !r.room(pk.TopicName, len(pk.Payload)):
		r.refused.add(mayNotRetain, cl.Net.Remote)
		r.topics.Retained.Delete(pk.TopicName) // an old one would be taken for the present
		pk.FixedHeader.Retain = false
	case r.known[pk.TopicName]:
		r.keep(pk.Copy(false))
		pk.FixedHeader.Retain = false
	}
	if r.shelf != nil && r.known[pk.TopicName] {
		r.shelf.put(pk.TopicName, pk.Payload)
	}
	return pk, nil
}

// OnWill does the same with a last will, which is the publisher's: a guest's is not
// retained.
func (r *retained) OnWill(_ *mochi.Client, will mochi.Will) (mochi.Will, error) {
	if will.Retain && r.known[will.TopicName] && r.room(will.TopicName, len(will.Payload)) {
		pk := message(will.TopicName, will.Payload)
		pk.FixedHeader.Qos = will.Qos
		r.keep(pk)
		will.Retain = false
	}
	return will, nil
}

// room counts what a topic retains from now on, if it may.
func (r *retained) room(topic string, size int) bool {
	r.mu.Lock()
	defer r.mu.Unlock()
	old, there := r.sizes[topic]
	if size == 0 || r.bytes-old+size > mostRetainedBytes || !there && len(r.sizes) >= mostRetained {
		delete(r.sizes, topic)
		r.bytes -= old
		return size == 0
	}
	r.sizes[topic] = size
	r.bytes += size - old
	return true
}

// held returns how many messages are retained and how large they are together.
func (r *retained) held() (messages, bytes int) {
	r.mu.Lock()
	defer r.mu.Unlock()
	return len(r.sizes), r.bytes
}

func (r *retained) keep(pk packets.Packet) {
	if len(pk.Payload) == 0 {
		r.topics.Retained.Delete(pk.TopicName)
		return
	}
	r.topics.Retained.Add(pk.TopicName, pk)
}
