package broker

import (
	"bytes"
	"crypto/subtle"
	"net"
	"strings"
	"sync"
	"sync/atomic"
	"time"

	mochi "github.com/mochi-mqtt/server/v2"
	"github.com/mochi-mqtt/server/v2/packets"
)

// User is somebody who may connect.
type User struct {
	Name   string
	Secret Secret
	// Read and Write are filters below the site's root: "alarm/#", "command/acknowledge".
	// Whoever reads everything, "#", reads the views too. Commands are never read, and
	// nothing else is ever written.
	Read, Write []string
}

// access decides who may connect, read and write. Whatever it does not know it denies;
// the library's own ledger allows what no rule matches.
type access struct {
	mochi.HookBase
	root        string // of the site, with a slash at its end
	password    []byte // of the publisher
	publisherID string
	users       map[string]*guest
	anonymous   *guest // nil where nobody may come without a user
	refused     *refusals
	clients     *mochi.Clients
	attempts    attempts

	mu    sync.Mutex
	rates map[*mochi.Client]*bucket
}

// guest is what a user, or anybody, may do; the filters are whole.
type guest struct {
	secret      Secret
	read, write []string
}

func newAccess(o *Options, password string, clients *mochi.Clients, refused *refusals) *access {
	a := &access{
		root: o.Root, password: []byte(password), publisherID: o.ClientID, clients: clients, refused: refused,
		users: make(map[string]*guest), rates: make(map[*mochi.Client]*bucket),
	}
	for _, u := range o.Users {
		g := &guest{secret: u.Secret}
		for _, f := range u.Read {
			if g.read = append(g.read, o.Root+f); f == "#" {
				g.read = append(g.read, o.Views...)
			}
		}
		for _, f := range u.Write {
			g.write = append(g.write, o.Root+f)
		}
		a.users[u.Name] = g
	}
	if len(o.Users) == 0 {
		a.anonymous = &guest{read: []string{"#"}, write: []string{o.Root + "command/+/#"}}
	}
	return a
}

// ID names the hook in the library's log.
func (*access) ID() string { return "access" }

// Provides says which of the library's questions the hook answers.
func (*access) Provides(b byte) bool {
	return bytes.IndexByte([]byte{
		mochi.OnConnectAuthenticate, mochi.OnACLCheck, mochi.OnSubscribe, mochi.OnPublish, mochi.OnDisconnect,
	}, b) >= 0
}

// OnConnectAuthenticate lets in the publisher, at its own door nobody else, users with their
// password, and where there are none, from loopback, anybody who claims to be nobody.
func (a *access) OnConnectAuthenticate(cl *mochi.Client, pk packets.Packet) bool {
	if fromLoopback(cl) && isPublisher(cl) && subtle.ConstantTimeCompare(pk.Connect.Password, a.password) == 1 {
		return true
	}
	if cl.Net.Listener == ownDoor {
		a.refused.add(badPassword, cl.Net.Remote)
		return false
	}
	if why := a.admit(cl, &pk); why != "" {
		a.refused.add(why, cl.Net.Remote)
		return false
	}
	// The library sends a last will without asking OnACLCheck, so that a guest could leave a
	// false alarm behind: such a will is dropped.
	will := &cl.Properties.Will
	if !a.mayWrite(a.guest(cl), will.TopicName) || will.Retain || len(will.Payload) > mostPayload {
		atomic.StoreUint32(&will.Flag, 0)
	}
	return true
}

// admit says why a guest may not come in; empty: it may.
func (a *access) admit(cl *mochi.Client, pk *packets.Packet) (why string) {
	c := &pk.Connect
	user := ""
	if c.UsernameFlag || c.PasswordFlag {
		user = string(c.Username)
		from, now := trier{from: source(cl.Net.Remote)}, time.Now()
		if a.users[user] != nil {
			from.user = user
		}
		if !a.attempts.allowed(from, now) {
			return attemptsSpent
		}
		if !a.knows(user, c.Password) {
			a.attempts.failed(from, now)
			return badPassword
		}
	} else if a.anonymous == nil || !fromLoopback(cl) {
		return nobody
	}
	if cl.ID == a.publisherID || len(cl.ID) > mostClientID {
		return badClient
	}
	existing, known := a.clients.Get(cl.ID)
	// Who takes over another's session is sent what was meant for the other.
	if known && string(existing.Properties.Username) != user {
		return badClient
	}
	if !known && !forgotten(cl) && a.clients.Len() >= mostSessions {
		return noSession
	}
	return ""
}

// knows compares a password. An unknown user takes as long as a known one.
func (a *access) knows(user string, password []byte) bool {
	g, known := a.users[user]
	if !known {
		for _, g = range a.users {
			break
		}
	}
	return g != nil && g.secret.matches(password) && known
}

// guest is what a client that was let in may do.
func (a *access) guest(cl *mochi.Client) *guest {
	if a.anonymous != nil {
		return a.anonymous
	}
	return a.users[string(cl.Properties.Username)]
}

// OnACLCheck is asked for each filter that is subscribed to, for each message that is
// written, and again for each reader of a message.
func (a *access) OnACLCheck(cl *mochi.Client, topic string, write bool) bool {
	if isPublisher(cl) {
		return write || !strings.HasPrefix(topic, "$")
	}
	g := a.guest(cl)
	switch {
	case g == nil:
		return false
	case !write:
		return a.mayRead(g, topic, cl.ID) // no refusal: others read what one may not
	case len(topic) > mostTopic || strings.Count(topic, "/") >= mostLevels:
		a.refused.add(tooDeep, cl.Net.Remote)
		return false
	case !a.mayWrite(g, topic):
		a.refused.add(badTopic, cl.Net.Remote)
		return false
	}
	return true
}

// mayRead reports whether a guest may read a topic or subscribe to a filter: commands
// nobody, of replies its own, and those that nobody could be found for. The library's own
// statistics are nobody's business, and it writes them while others read; a shared
// subscription would take messages from others.
func (a *access) mayRead(g *guest, topic, client string) bool {
	if strings.HasPrefix(topic, "$") || !overlapAny(topic, g.read) {
		return false
	}
	rest, own := strings.CutPrefix(topic, a.root)
	kind, rest, below := strings.Cut(rest, "/")
	switch {
	case !own:
		return true
	case kind == "command":
		return false
	case kind == "reply" && below:
		to, _, _ := strings.Cut(rest, "/")
		return to == client || to == "unaddressed"
	}
	return kind != "reply"
}

// mayWrite reports whether a guest may write a topic: it is a command, and no filter.
func (a *access) mayWrite(g *guest, topic string) bool {
	name, command := strings.CutPrefix(topic, a.root+"command/")
	return command && name != "" && g != nil && !strings.ContainsAny(topic, "#+") && overlapAny(topic, g.write)
}

// OnSubscribe spoils the filters that are too many, too deep or not the client's to read: the
// library answers that they failed.
func (a *access) OnSubscribe(cl *mochi.Client, pk packets.Packet) packets.Packet {
	if isPublisher(cl) {
		return pk
	}
	g, room := a.guest(cl), mostSubscriptions-cl.State.Subscriptions.Len()
	for i, s := range pk.Filters {
		_, has := cl.State.Subscriptions.Get(s.Filter)
		why := ""
		switch {
		case len(s.Filter) > mostTopic || strings.Count(s.Filter, "/") >= mostLevels:
			why = tooDeep
		case g == nil || !a.mayRead(g, s.Filter, cl.ID):
			why = badTopic
		case has:
		case room <= 0:
			why = tooMany
		default:
			room--
		}
		if why != "" {
			pk.Filters[i].Filter = "" // which is none
			a.refused.add(why, cl.Net.Remote)
		}
	}
	return pk
}

// OnPublish drops a command that asks to be retained, for it would be carried out again at
// each start; one that is too large; and a flood. The library acknowledges what it ignores:
// whoever commands waits for the reply, not for that.
func (a *access) OnPublish(cl *mochi.Client, pk packets.Packet) (packets.Packet, error) {
	if isPublisher(cl) {
		return pk, nil
	}
	why := ""
	switch {
	case !a.inRate(cl):
		why = flooded
	case pk.FixedHeader.Retain:
		why = mayNotRetain
	case len(pk.Payload) > mostPayload:
		why = tooLarge
	default:
		return pk, nil
	}
	a.refused.add(why, cl.Net.Remote)
	return pk, packets.CodeSuccessIgnore
}

// bucket holds what a client may still send at once.
type bucket struct {
	left float64
	last time.Time
}

func (a *access) inRate(cl *mochi.Client) bool {
	now := time.Now()
	a.mu.Lock()
	defer a.mu.Unlock()
	b := a.rates[cl]
	if b == nil {
		b = &bucket{mostAtOnce, now}
		a.rates[cl] = b
	}
	b.left = min(mostAtOnce, b.left+now.Sub(b.last).Seconds()*mostPerSecond)
	b.last = now
	if b.left < 1 {
		return false
	}
	b.left--
	return true
}

// OnDisconnect forgets a client's rate.
func (a *access) OnDisconnect(cl *mochi.Client, _ error, _ bool) {
	a.mu.Lock()
	defer a.mu.Unlock()
	delete(a.rates, cl)
}

// isPublisher holds for a client that was let in under the publisher's name, which no user
// can have.
func isPublisher(cl *mochi.Client) bool { return string(cl.Properties.Username) == publisherName }

func fromLoopback(cl *mochi.Client) bool {
	host, _, err := net.SplitHostPort(cl.Net.Remote)
	if err != nil {
		return false
	}
	ip := net.ParseIP(host)
	return ip != nil && ip.IsLoopback()
}
