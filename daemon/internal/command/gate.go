package command

import (
	"maps"
	"sync"
	"time"
)

// The gate lets in what people ask and what fetches a trend; more is a flood.
const (
	perSecond = 10
	burst     = 40
	// remembered is how many ids are known: more than can come in their longest life.
	remembered = perSecond*int(longestLife/time.Second) + burst
)

// Gate lets commands in, each once, and counts. The zero Gate has seen none.
type Gate struct {
	mu     sync.Mutex
	tokens float64
	last   time.Time
	begun  bool
	seen   map[string]bool
	order  []string // a ring of what is in seen
	next   int
	counts map[string]uint64
}

// accepted is the count of commands that were let in.
const accepted = "accepted"

// Take lets a command in or refuses it. now is time.Now, and trusted whether the wall clock
// is known to be right: without that no command is too old. Flooded calls for no reply.
func (g *Gate) Take(name string, retained bool, body []byte, now time.Time, trusted bool) (Request, *Refusal) {
	g.mu.Lock()
	defer g.mu.Unlock()
	if !g.room(now) {
		g.count(string(Flooded))
		return Request{}, Refuse(Flooded, "too many commands")
	}
	r, refused := Decode(name, body)
	switch {
	case retained:
		refused = Refuse(Retained, "a retained command would be carried out again at each start: send it without retain")
	case refused != nil:
	case trusted && now.After(r.ExpiresAt):
		refused = Refuse(Expired, "the command expired at %s, and it is %s", r.ExpiresAt.UTC().Format(time.RFC3339), now.UTC().Format(time.RFC3339))
	case trusted && r.IssuedAt.Sub(now) > ahead:
		refused = Refuse(Expired, "the command is of %s, and it is %s only: one of the clocks is wrong", r.IssuedAt.UTC().Format(time.RFC3339), now.UTC().Format(time.RFC3339))
	case g.seen[r.Client+"/"+r.ID]:
		refused = Refuse(Repeated, "this command has come before")
	default:
		g.remember(r.Client + "/" + r.ID)
	}
	if refused != nil {
		g.count(string(refused.Reason))
		return r, refused
	}
	g.count(accepted)
	return r, nil
}

// room takes a token out of the bucket, if there is one.
func (g *Gate) room(now time.Time) bool {
	if !g.begun {
		g.begun, g.tokens, g.last = true, burst, now
	}
	if passed := now.Sub(g.last).Seconds(); passed > 0 {
		g.tokens = min(g.tokens+passed*perSecond, burst)
		g.last = now
	}
	if g.tokens < 1 {
		return false
	}
	g.tokens--
	return true
}

func (g *Gate) remember(id string) {
	if g.seen == nil {
		g.seen = make(map[string]bool)
	}
	if len(g.order) < remembered {
		g.order = append(g.order, id)
	} else {
		delete(g.seen, g.order[g.next])
		g.order[g.next] = id
		g.next = (g.next + 1) % remembered
	}
	g.seen[id] = true
}

// Count counts something that was refused elsewhere.
func (g *Gate) Count(why Reason, n uint64) {
	g.mu.Lock()
	defer g.mu.Unlock()
	if g.counts == nil {
		g.counts = make(map[string]uint64)
	}
	g.counts[string(why)] += n
}

func (g *Gate) count(what string) {
	if g.counts == nil {
		g.counts = make(map[string]uint64)
	}
	g.counts[what]++
}

// Counts returns how many commands came, by what became of them: "accepted", or why not.
func (g *Gate) Counts() map[string]uint64 {
	g.mu.Lock()
	defer g.mu.Unlock()
	all := maps.Clone(g.counts)
	if all == nil {
		all = make(map[string]uint64)
	}
	for _, name := range []string{accepted, string(Retained), string(Oversized), string(Malformed), string(Unknown), string(Expired), string(Repeated), string(Flooded)} {
		all[name] += 0
	}
	return all
}
