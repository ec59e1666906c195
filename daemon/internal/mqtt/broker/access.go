package broker

import (
	"bytes"
	"crypto/subtle"
	"net"
	"strings"
	"sync/atomic"

	mochi "github.com/mochi-mqtt/server/v2"
	"github.com/mochi-mqtt/server/v2/packets"
)

// access decides who may connect, read and write. Whatever it does not know it denies;
// the library's own ledger allows what no rule matches.
type access struct {
	mochi.HookBase
	password    []byte
	publisherID string
}

// ID names the hook in the library's log.
func (*access) ID() string { return "access" }

// Provides says which of the library's questions the hook answers.
func (*access) Provides(b byte) bool {
	return bytes.IndexByte([]byte{mochi.OnConnectAuthenticate, mochi.OnACLCheck, mochi.OnPublish}, b) >= 0
}

// OnConnectAuthenticate lets in the publisher with its password, and from loopback
// anybody who claims to be nobody.
func (a *access) OnConnectAuthenticate(cl *mochi.Client, pk packets.Packet) bool {
	if !fromLoopback(cl) {
		return false
	}
	if pk.Connect.UsernameFlag || pk.Connect.PasswordFlag {
		return a.isPublisher(pk.Connect.Username, pk.Connect.Password)
	}
	if a.publisherID != "" && pk.Connect.ClientIdentifier == a.publisherID {
		return false
	}
	// The library sends a last will without asking OnACLCheck, so that an anonymous
	// client could leave a false alarm behind: its will is dropped.
	if !writable(pk.Connect.WillTopic) || pk.Connect.WillRetain {
		atomic.StoreUint32(&cl.Properties.Will.Flag, 0)
	}
	return true
}

// OnACLCheck lets anybody read what is published, commands excepted, and replies only who
// asked; only the publisher may write, commands excepted. The library asks for each filter,
// and again for each message.
func (*access) OnACLCheck(cl *mochi.Client, topic string, write bool) bool {
	if !write {
		// The library's own statistics are nobody's business, and it writes them while
		// others read.
		return !strings.HasPrefix(topic, "$") && (knownPublisher(cl) || readable(topic, cl.ID))
	}
	return knownPublisher(cl) || writable(topic)
}

// OnPublish drops a command that asks to be retained: it would be carried out again at
// each start.
func (*access) OnPublish(cl *mochi.Client, pk packets.Packet) (packets.Packet, error) {
	if pk.FixedHeader.Retain && !knownPublisher(cl) {
		return pk, packets.ErrRejectPacket
	}
	return pk, nil
}

func (a *access) isPublisher(user, password []byte) bool {
	u := subtle.ConstantTimeCompare(user, []byte(publisherName))
	p := subtle.ConstantTimeCompare(password, a.password)
	return u&p == 1
}

// knownPublisher holds for a client that OnConnectAuthenticate let in under that name.
func knownPublisher(cl *mochi.Client) bool { return string(cl.Properties.Username) == publisherName }

// readable reports whether a client may read a topic or a filter: of commands none, and of
// replies its own, and those that nobody could be found for.
func readable(topic, client string) bool {
	part := strings.Split(topic, "/")
	if len(part) < 3 {
		return true
	}
	switch part[2] {
	case "command":
		return false
	case "reply":
		return len(part) > 3 && (part[3] == client || part[3] == "unaddressed")
	}
	return true
}

// writable reports whether topic is fluewright/<site>/command/….
func writable(topic string) bool {
	part := strings.Split(topic, "/")
	return len(part) > 3 && part[0] == "fluewright" && part[1] != "" && part[2] == "command" && part[3] != "" &&
		!strings.ContainsAny(topic, "#+")
}

func fromLoopback(cl *mochi.Client) bool {
	host, _, err := net.SplitHostPort(cl.Net.Remote)
	if err != nil {
		return false
	}
	ip := net.ParseIP(host)
	return ip != nil && ip.IsLoopback()
}
