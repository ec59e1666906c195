package access

import (
	"net/netip"
	"slices"
	"sync"
	"time"
)

// limiter lets each key try a few times at once and then once in a while.
type limiter struct {
	burst float64
	every time.Duration // until there is one try more
	held  map[string]*bucket
}

type bucket struct {
	tries float64
	at    time.Time
}

// mostKeys bounds the memory; who gives many addresses to be forgotten meets the limit of all.
const mostKeys = 1024

func newLimiter(burst int, every time.Duration) *limiter {
	return &limiter{burst: float64(burst), every: every, held: make(map[string]*bucket)}
}

// of returns the key's bucket as it is now.
func (l *limiter) of(key string, now time.Time) *bucket {
	b := l.held[key]
	if b == nil {
		if len(l.held) >= mostKeys {
			l.forget(now)
		}
		b = &bucket{l.burst, now}
		l.held[key] = b
	}
	if since := now.Sub(b.at); since > 0 {
		b.tries = min(l.burst, b.tries+since.Seconds()/l.every.Seconds())
		b.at = now
	}
	return b
}

// forget makes room: those who have all their tries again, and else whoever was here first.
func (l *limiter) forget(now time.Time) {
	var oldest string
	for key, b := range l.held {
		switch {
		case b.tries+now.Sub(b.at).Seconds()/l.every.Seconds() >= l.burst:
			delete(l.held, key)
		case oldest == "" || b.at.Before(l.held[oldest].at):
			oldest = key
		}
	}
	if len(l.held) >= mostKeys {
		delete(l.held, oldest)
	}
}

// limits are those of signing in. No limit of an account counts for an address from which
// somebody has signed in to it before: whoever guesses does not lock its owner out.
type limits struct {
	mu sync.Mutex
	// Each of these is a number of tries at once, and one more after a time.
	address, account, all *limiter
	// known are the addresses that have signed in to an account since the start.
	known map[string][]string
}

const mostKnown = 16 // addresses of an account

func newLimits() *limits {
	return &limits{
		address: newLimiter(6, 20*time.Second),
		account: newLimiter(12, time.Minute),
		all:     newLimiter(30, 5*time.Second),
		known:   make(map[string][]string),
	}
}

// take takes one try, or none and says how long to wait.
func (l *limits) take(address, account string, now time.Time) (wait time.Duration) {
	l.mu.Lock()
	defer l.mu.Unlock()
	asked := []*limiter{l.address}
	buckets := []*bucket{l.address.of(address, now)}
	if !slices.Contains(l.known[account], address) {
		asked = append(asked, l.account, l.all)
		buckets = append(buckets, l.account.of(account, now), l.all.of("", now))
	}
	for i, b := range buckets {
		if b.tries < 1 {
			wait = max(wait, time.Duration((1-b.tries)*float64(asked[i].every)))
		}
	}
	if wait > 0 {
		return wait
	}
	for _, b := range buckets {
		b.tries--
	}
	return 0
}

// succeeded gives the try back and remembers the address. An account is one that exists, so
// that there are few.
func (l *limits) succeeded(address, account string, now time.Time) {
	l.mu.Lock()
	defer l.mu.Unlock()
	b := l.address.of(address, now)
	b.tries = l.address.burst
	known := slices.DeleteFunc(l.known[account], func(a string) bool { return a == address })
	l.known[account] = append(known[max(0, len(known)-mostKnown+1):], address)
}

// neighbour is what counts as one address: a computer has all of an IPv6 subnet to choose
// from.
func neighbour(a netip.Addr) string {
	a = a.Unmap().WithZone("")
	if a.Is6() {
		if p, err := a.Prefix(64); err == nil {
			return p.String()
		}
	}
	return a.String()
}
