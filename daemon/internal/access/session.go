package access

import (
	"cmp"
	"context"
	"crypto/rand"
	"crypto/sha256"
	"encoding/base64"
	"encoding/hex"
	"errors"
	"fmt"
	"net/netip"
	"slices"
	"time"
)

// How long somebody stays signed in: a telephone that is used each week for a month.
const (
	sessionLife = 30 * 24 * time.Hour
	sessionIdle = 7 * 24 * time.Hour
	// touchAfter is how exactly the last use is known: each is a write.
	touchAfter   = 12 * time.Hour
	mostSessions = 16 // of an account; the one used longest ago goes
)

// tokenPrefix lets a token be recognised where it should not be.
const tokenPrefix = "fluewright_"

// ErrWrong is returned for an unknown name as for a wrong password.
var ErrWrong = errors.New("the name or the password is wrong")

// WaitError is returned when there were too many tries.
type WaitError struct{ For time.Duration }

// Error says how long to wait.
func (e *WaitError) Error() string {
	return fmt.Sprintf("there were too many tries; wait %d seconds", e.Seconds())
}

// Seconds are those until the next try, rounded up.
func (e *WaitError) Seconds() int { return int((e.For + time.Second - 1) / time.Second) }

// secret returns 256 random bits as text.
func secret() string {
	var b [32]byte
	_, _ = rand.Read(b[:]) // never fails
	return base64.RawURLEncoding.EncodeToString(b[:])
}

// recognise is what is kept of a secret. It is random through and through, so that no slow
// hash is needed.
func recognise(secret string) string {
	sum := sha256.Sum256([]byte(secret))
	return hex.EncodeToString(sum[:])
}

// over reports whether a session has ended. A clock that went back ends none.
func (s *session) over(now time.Time) bool {
	return now.Sub(s.Made) > sessionLife || now.Sub(s.Used) > sessionIdle
}

// SignIn looks at a name and a password, and returns the id of a new session. Errors are
// [ErrWrong], [ErrBusy], a [WaitError], or a failure.
func (a *Accounts) SignIn(ctx context.Context, from netip.Addr, name, password string) (id string, err error) {
	if err := a.attempt(ctx, from, name, password); err != nil {
		return "", err
	}
	return a.begin(name)
}

// attempt looks at a password, within limits, in the same time whether the name is known.
func (a *Accounts) attempt(ctx context.Context, from netip.Addr, name, password string) error {
	if len(name) > maxPassword || len(password) > maxPassword {
		return ErrWrong // nobody's
	}
	address, key := neighbour(from), fold(name)
	if wait := a.limits.take(address, key, a.now()); wait > 0 {
		return &WaitError{wait}
	}
	h := a.book.view()
	if h.err != nil {
		return h.err
	}
	phc := a.turn.nobodys()
	if one := h.account(name); one != nil {
		phc = one.Password
	}
	ok, err := a.turn.verify(ctx, phc, password)
	switch {
	case err != nil:
		return err
	case !ok:
		return ErrWrong
	}
	a.limits.succeeded(address, key, a.now())
	return nil
}

// begin makes a session. It holds also if it cannot be written, until the next start: an
// owner must see the pages when the storage is full.
func (a *Accounts) begin(name string) (id string, err error) {
	id = secret()
	err = a.change(true, func(r *record) error {
		one := r.account(name)
		if one == nil {
			return ErrWrong // removed at this moment
		}
		now := a.wall()
		r.Sessions = slices.DeleteFunc(r.Sessions, func(s session) bool { return s.over(now) })
		var own []session
		for _, s := range r.Sessions {
			if fold(s.Account) == fold(name) {
				own = append(own, s)
			}
		}
		if len(own) >= mostSessions {
			oldest := slices.MinFunc(own, func(x, y session) int { return cmp.Or(x.Used.Compare(y.Used), x.Made.Compare(y.Made)) })
			r.Sessions = slices.DeleteFunc(r.Sessions, func(s session) bool { return s.Hash == oldest.Hash })
		}
		r.Sessions = append(r.Sessions, session{recognise(id), one.Name, now, now})
		return nil
	})
	if err != nil && a.book.view().session(recognise(id)) == nil {
		return "", err
	}
	return id, nil
}

// Session returns who has signed in, by the id of the session; nobody if it is over.
func (a *Accounts) Session(id string) Person {
	h := a.book.view()
	s := h.session(recognise(id))
	now := a.wall()
	if id == "" || s == nil || s.over(now) {
		return Person{}
	}
	one := h.account(s.Account)
	if one == nil {
		return Person{}
	}
	if now.Sub(s.Used) > touchAfter {
		// If it cannot be written the session ends early, and no harm is done.
		_ = a.book.change(true, func(r *record) error {
			if s := r.session(recognise(id)); s != nil {
				s.Used = now
			}
			return nil
		})
	}
	return Person{Name: one.Name, Role: one.Role}
}

// Token returns whose token it is; nobody if it is none.
func (a *Accounts) Token(text string) Person {
	hash := recognise(text)
	for _, t := range a.book.view().Tokens {
		if t.Hash == hash && slices.Contains(MachineRoles, t.Role) {
			return Person{Name: t.Name, Role: t.Role, Machine: true}
		}
	}
	return Person{}
}

// SignOut ends a session.
func (a *Accounts) SignOut(id string) error {
	return a.change(true, func(r *record) error {
		r.Sessions = slices.DeleteFunc(r.Sessions, func(s session) bool { return s.Hash == recognise(id) })
		return nil
	})
}

// SignOutEverywhere ends all sessions of an account.
func (a *Accounts) SignOutEverywhere(name string) error {
	return a.change(true, func(r *record) error {
		r.endSessions(name)
		return nil
	})
}

// ChangePassword changes one's own password, which ends all sessions, and begins a new one.
func (a *Accounts) ChangePassword(ctx context.Context, from netip.Addr, name, old, password string) (id string, err error) {
	if err := checkPassword(name, password); err != nil {
		return "", err
	}
	if err := a.attempt(ctx, from, name, old); err != nil {
		return "", err
	}
	if err := a.SetPassword(ctx, name, password); err != nil {
		return "", err
	}
	return a.begin(name)
}
