package broker

import (
	"log/slog"
	"maps"
	"sync"
	"time"
)

// Why something was refused.
const (
	badPassword   = "password"      // wrong user or password
	attemptsSpent = "attempts"      // too many of those from one address
	nobody        = "anonymous"     // without a user, where there are some
	badClient     = "client-id"     // another's client identifier, or one that is none
	noConnection  = "connections"   // too many at once
	noSession     = "sessions"      // too many that are kept
	badTopic      = "topic"         // a topic or filter that the client has no right to
	tooDeep       = "depth"         // a topic of too many levels, or too long
	tooMany       = "subscriptions" // of one client
	tooLarge      = "size"
	mayNotRetain  = "retain" // somebody else than the monitor, or more than there is room for
	flooded       = "flood"  // too many messages from one client
	tooSlow       = "slow"   // a reader for whom too much waits
	malformed     = "malformed"
	noTLS         = "tls" // the encryption was not agreed on
)

var reasons = []string{
	badPassword, attemptsSpent, nobody, badClient, noConnection, noSession, badTopic, tooDeep, tooMany, tooLarge,
	mayNotRetain, flooded, tooSlow, malformed, noTLS,
}

// saidEvery is how often a kind of refusal is worth a line in the log: whoever is refused
// decides how often that happens.
const saidEvery = 10 * time.Minute

// refusals counts, and says so now and then.
type refusals struct {
	log *slog.Logger

	mu    sync.Mutex
	count map[string]uint64
	said  map[string]time.Time
}

func newRefusals(log *slog.Logger) *refusals {
	r := &refusals{log: log, count: make(map[string]uint64), said: make(map[string]time.Time)}
	for _, why := range reasons {
		r.count[why] = 0
	}
	return r
}

// add counts one, of a client at an address.
func (r *refusals) add(why, remote string) {
	now := time.Now()
	r.mu.Lock()
	r.count[why]++
	last, before := r.said[why]
	say := !before || now.Sub(last) >= saidEvery
	if say {
		r.said[why] = now
	}
	total := r.count[why]
	r.mu.Unlock()
	if say {
		r.log.Warn("the MQTT broker refuses a client something", "reason", why, "from", remote, "times", total)
	}
}

func (r *refusals) counts() map[string]uint64 {
	r.mu.Lock()
	defer r.mu.Unlock()
	return maps.Clone(r.count)
}
