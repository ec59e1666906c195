package access

import (
	"errors"
	"fmt"
	"net/netip"
	"slices"
	"testing"
	"testing/synctest"
	"time"

	"pgregory.net/rapid"
)

// TestGuessing: an hour of guessing, from one address and from many, is a few dozen or some
// hundred tries; the owner at an address that has signed in before is not held up, and at a
// new one as soon as it ends.
func TestGuessing(t *testing.T) {
	for _, tt := range []struct {
		name string
		from func(i int) netip.Addr
		most int
	}{
		{"from one address", func(int) netip.Addr { return elsewhere }, 6 + 180},
		{"from many", func(i int) netip.Addr { return netip.AddrFrom4([4]byte{10, 1, byte(i >> 8), byte(i)}) }, 12 + 60},
		{"from one IPv6 subnet", func(i int) netip.Addr {
			return netip.AddrFrom16([16]byte{0: 0x20, 1: 1, 14: byte(i >> 8), 15: byte(i)})
		}, 6 + 180},
	} {
		t.Run(tt.name, func(t *testing.T) {
			l := newLimits()
			now := time.Unix(0, 0)
			l.succeeded(neighbour(phone), "anna", now)
			tries := 0
			for i := range 3600 * 2 {
				now = now.Add(500 * time.Millisecond)
				if l.take(neighbour(tt.from(i)), "anna", now) == 0 {
					tries++
				}
				if i%600 == 0 {
					if wait := l.take(neighbour(phone), "anna", now); wait > 0 {
						t.Fatalf("after %d s the owner waits %v", i/2, wait)
					}
				}
			}
			if tries > tt.most || tries < 12 {
				t.Errorf("%d tries in an hour, want at most %d", tries, tt.most)
			}
			if wait := l.take("new", "anna", now.Add(2*time.Minute)); wait > 0 {
				t.Errorf("two minutes later the owner at a new address waits %v", wait)
			}
		})
	}
}

// TestManyNames: whoever tries one password on many names from many addresses meets the
// limit of all.
func TestManyNames(t *testing.T) {
	l := newLimits()
	now := time.Unix(0, 0)
	tries := 0
	for i := range 6000 {
		now = now.Add(600 * time.Millisecond)
		if l.take(fmt.Sprint("address ", i), fmt.Sprint("name ", i), now) == 0 {
			tries++
		}
	}
	if want := 30 + 720; tries > want || tries < want/2 {
		t.Errorf("%d tries in an hour, want at most %d", tries, want)
	}
	if len(l.address.held) > mostKeys || len(l.account.held) > mostKeys {
		t.Errorf("%d addresses and %d names are remembered", len(l.address.held), len(l.account.held))
	}
}

// TestTheWaitIsTrue: whoever waits as long as was said may try, and not before.
func TestTheWaitIsTrue(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		l := newLimits()
		now := time.Unix(0, 0)
		for range rapid.IntRange(1, 60).Draw(t, "tries") {
			now = now.Add(time.Duration(rapid.IntRange(0, 30_000).Draw(t, "pause")) * time.Millisecond)
			address, name := rapid.SampledFrom([]string{"a", "b", "c"}).Draw(t, "address"), rapid.SampledFrom([]string{"x", "y"}).Draw(t, "name")
			wait := l.take(address, name, now)
			if wait == 0 {
				continue
			}
			if wait < 0 || wait > 2*time.Minute {
				t.Fatalf("wait %v", wait)
			}
			if wait > time.Second && l.take(address, name, now.Add(wait-time.Second)) == 0 {
				t.Fatalf("it goes before %v are over", wait)
			}
			now = now.Add(wait + time.Millisecond)
			if again := l.take(address, name, now); again > 0 {
				t.Fatalf("after %v it is %v more", wait, again)
			}
		}
	})
}

// TestAWrongPassword: the same words and the same limits whether there is such a name.
func TestAWrongPassword(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		a, _ := furnished(t)
		said := func(name string) (all []string) {
			for range 8 {
				_, err := a.SignIn(t.Context(), elsewhere, name, other)
				all = append(all, fmt.Sprint(err))
			}
			time.Sleep(time.Hour)
			return all
		}
		known, unknown := said("Anna"), said("Zacharias")
		if !slices.Equal(known, unknown) || known[0] != ErrWrong.Error() || known[7] == known[0] {
			t.Errorf("a known name is told\n%q, an unknown one\n%q", known, unknown)
		}
	})
}

// TestTimeTellsNoNames compares how long an answer takes for a name that is there and for one
// that is not, at the quickest, as the machine does other things as well: without the hash it
// would be a hundredth.
func TestTimeTellsNoNames(t *testing.T) {
	a := Load("")
	if err := a.Add(t.Context(), "Anna", Owner, good); err != nil {
		t.Fatal(err)
	}
	took := map[string][]time.Duration{}
	for range 9 {
		for _, name := range []string{"Anna", "Zacharias", ""} {
			a.limits = newLimits()
			began := time.Now()
			if _, err := a.SignIn(t.Context(), elsewhere, name, other); !errors.Is(err, ErrWrong) {
				t.Fatal(err)
			}
			took[name] = append(took[name], time.Since(began))
		}
	}
	for _, name := range []string{"Zacharias", ""} {
		if ratio := slices.Min(took[name]).Seconds() / slices.Min(took["Anna"]).Seconds(); ratio < 0.4 || ratio > 2.5 {
			t.Errorf("for the name %q it takes %.2f times as long", name, ratio)
		}
	}
}

// TestFewHashesAtOnce: many who sign in at once wait for each other or are sent away, and
// whoever goes away does not hold the others up.
func TestFewHashesAtOnce(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		turn := newTurnstile()
		at, most := 0, 0
		ended := make(chan error)
		const n = 3 * mostWaiting
		for range n {
			go func() {
				ended <- turn.do(t.Context(), func() {
					at++
					most = max(most, at)
					time.Sleep(time.Second)
					at--
				})
			}()
		}
		sent := 0
		for range n {
			if err := <-ended; errors.Is(err, ErrBusy) {
				sent++
			} else if err != nil {
				t.Error(err)
			}
		}
		if most != 1 || sent != n-mostWaiting {
			t.Errorf("%d at once, %d sent away", most, sent)
		}
	})
}
