package broker

import (
	"bytes"

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
	topics *mochi.TopicsIndex
	known  map[string]bool
}

func newRetained(topics *mochi.TopicsIndex, names []string) *retained {
	r := &retained{topics: topics, known: make(map[string]bool)}
	for _, name := range names {
		r.known[name] = true
		// A topic has a path only once something was retained on it.
		topics.RetainMessage(packets.Packet{TopicName: name, Payload: []byte("-")})
		topics.Retained.Delete(name)
	}
	return r
}

// ID names the hook in the library's log.
func (*retained) ID() string { return "retained" }

// Provides says which of the library's questions the hook answers.
func (*retained) Provides(b byte) bool {
	return bytes.IndexByte([]byte{mochi.OnPublish, mochi.OnWill}, b) >= 0
}

// OnPublish keeps what is to be retained and passes it on as an ordinary message, which
// is what present subscribers are due.
func (r *retained) OnPublish(_ *mochi.Client, pk packets.Packet) (packets.Packet, error) {
	if pk.FixedHeader.Retain && r.known[pk.TopicName] {
		r.keep(pk.Copy(false))
		pk.FixedHeader.Retain = false
	}
	return pk, nil
}

// OnWill does the same with a last will.
func (r *retained) OnWill(_ *mochi.Client, will mochi.Will) (mochi.Will, error) {
	if will.Retain && r.known[will.TopicName] {
		r.keep(packets.Packet{
			FixedHeader: packets.FixedHeader{Type: packets.Publish, Qos: will.Qos, Retain: true},
			TopicName:   will.TopicName, Payload: will.Payload,
		})
		will.Retain = false
	}
	return will, nil
}

func (r *retained) keep(pk packets.Packet) {
	if len(pk.Payload) == 0 {
		r.topics.Retained.Delete(pk.TopicName)
		return
	}
	r.topics.Retained.Add(pk.TopicName, pk)
}
