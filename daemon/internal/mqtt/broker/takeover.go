package broker

import (
	"time"

	mochi "github.com/mochi-mqtt/server/v2"
	"github.com/mochi-mqtt/server/v2/packets"
)

// takeOver ends a reader's old connection before its new one begins. The library does
// both at once, and the end of the old one then sometimes deletes the new one: a phone
// that comes back after a lost connection would be connected, and deaf.
type takeOver struct {
	mochi.HookBase
	clients *mochi.Clients
}

// endsWithin is how long an ended connection may take to be forgotten.
const endsWithin = time.Second

// ID names the hook in the library's log.
func (*takeOver) ID() string { return "take-over" }

// Provides says which of the library's questions the hook answers.
func (*takeOver) Provides(b byte) bool { return b == mochi.OnSessionEstablish }

// OnSessionEstablish is called when the newcomer has been let in and not been added yet.
func (t *takeOver) OnSessionEstablish(cl *mochi.Client, _ packets.Packet) {
	old, ok := t.clients.Get(cl.ID)
	if !ok || !forgotten(old) {
		return
	}
	// Not Stop: who is stopped before the library begins to read from him says no last will.
	_ = old.Net.Conn.Close() // it may be closed already
	for deadline := time.Now().Add(endsWithin); time.Now().Before(deadline); time.Sleep(time.Millisecond) {
		if now, ok := t.clients.Get(cl.ID); !ok || now != old {
			return
		}
	}
}

// forgotten reports whether the library deletes a client when its connection ends; one
// whose session is kept has nothing deleted and passes it on.
func forgotten(cl *mochi.Client) bool {
	if cl.Properties.ProtocolVersion == 5 {
		return cl.Properties.Props.SessionExpiryInterval == 0
	}
	return cl.Properties.Clean
}
