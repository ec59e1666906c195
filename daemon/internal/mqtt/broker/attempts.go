package broker

import (
	"net"
	"net/netip"
	"sync"
	"time"
)

// How often a user's password may be wrong from one address: a person who mistypes it does
// not notice, and who tries the commonest thousand needs hours.
const (
	attemptsAtOnce = 6
	attemptEvery   = 10 * time.Second
	// triersKnown bounds the memory that strangers can take.
	triersKnown = 256
)

// trier is an address that claims to be a user; all unknown users are one, without a name. A
// program with an old password does not lock out another user at its address.
type trier struct {
	from netip.Addr
	user string
}

// attempts remembers who was wrong. The zero attempts have seen nobody.
type attempts struct {
	mu    sync.Mutex
	wrong map[trier]failures
}

// failures count down with time.
type failures struct {
	n    float64
	last time.Time
}

func (f failures) at(now time.Time) failures {
	f.n = max(0, f.n-now.Sub(f.last).Seconds()/attemptEvery.Seconds())
	f.last = now
	return f
}

// allowed reports whether somebody may try.
func (a *attempts) allowed(from trier, now time.Time) bool {
	a.mu.Lock()
	defer a.mu.Unlock()
	f, known := a.wrong[from]
	return !known || f.at(now).n <= attemptsAtOnce-1
}

// failed notes that somebody was wrong.
func (a *attempts) failed(from trier, now time.Time) {
	a.mu.Lock()
	defer a.mu.Unlock()
	if a.wrong == nil {
		a.wrong = make(map[trier]failures)
	}
	f, known := a.wrong[from]
	if !known && len(a.wrong) >= triersKnown {
		a.forget(now)
	}
	f = f.at(now)
	f.n++
	a.wrong[from] = f
}

// forget makes room: those whose failures are over go, and if there are none the one that
// has the fewest left. a.mu is held.
func (a *attempts) forget(now time.Time) {
	var least trier
	fewest := failures{n: attemptsAtOnce + 1}
	for who, f := range a.wrong {
		if f = f.at(now); f.n == 0 {
			delete(a.wrong, who)
		} else if f.n < fewest.n {
			least, fewest = who, f
		}
	}
	if len(a.wrong) >= triersKnown {
		delete(a.wrong, least)
	}
}

// source is who counts as one: an IPv4 address, or the network of an IPv6 address, in which
// one computer has as many addresses as it likes.
func source(remote string) netip.Addr {
	host, _, err := net.SplitHostPort(remote)
	if err != nil {
		return netip.Addr{}
	}
	addr, err := netip.ParseAddr(host)
	if err != nil {
		return netip.Addr{}
	}
	if addr = addr.Unmap().WithZone(""); addr.Is6() && !addr.IsLoopback() {
		if net, err := addr.Prefix(64); err == nil {
			return net.Addr()
		}
	}
	return addr
}
