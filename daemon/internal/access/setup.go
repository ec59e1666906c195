package access

import (
	"context"
	"crypto/rand"
	"crypto/subtle"
	"math/big"
	"net/netip"
	"strings"
)

// codeSigns are the letters and digits that are taken for no other: no 0 and O, 1, I and L,
// 2 and Z, 5 and S, 8 and B, 6 and G, U and V.
const codeSigns = "ACDEFHJKMNPQRTWXY3479"

const (
	codeLength = 12 // 12 × log₂ 21 = 52.7 bits
	codeGroup  = 4
	// codeTries is how often the code may be guessed: 100 of 7·10¹⁵.
	codeTries = 100
)

// ErrSetUp is returned when there is nothing to set up.
const ErrSetUp = Refusal("this monitor has its owner already; sign in, or ask at the board")

// ErrNoCode is returned when the code was guessed at too often.
const ErrNoCode = Refusal("the code was wrong too often and is no more; start the monitor again for a new one")

// errCode is returned for a wrong code.
const errCode = Refusal("the code is not the one that the monitor has shown at its start")

// OfferSetup makes a code with which the first owner may be made, and returns it; empty where
// there are accounts, or nobody can say whether there are. It is kept in memory alone.
func (a *Accounts) OfferSetup() string {
	h := a.book.view()
	if h.err != nil || len(h.Accounts) > 0 {
		return ""
	}
	a.setup.mu.Lock()
	defer a.setup.mu.Unlock()
	a.setup.code, a.setup.tries = "", 0
	for i := range codeLength {
		if i > 0 && i%codeGroup == 0 {
			a.setup.code += "-"
		}
		n, _ := rand.Int(rand.Reader, big.NewInt(int64(len(codeSigns)))) // never fails
		a.setup.code += string(codeSigns[n.Int64()])
	}
	return a.setup.code
}

// NeedsSetup reports whether nobody can sign in yet.
func (a *Accounts) NeedsSetup() bool {
	h := a.book.view()
	return h.err == nil && len(h.Accounts) == 0
}

// SetUp makes the first owner, for whoever has the code, and returns the id of a session.
func (a *Accounts) SetUp(ctx context.Context, from netip.Addr, code, name, password string) (id string, err error) {
	if !a.NeedsSetup() {
		return "", ErrSetUp
	}
	if err := a.checkCode(from, code); err != nil {
		return "", err
	}
	one, err := a.made(ctx, name, Owner, password)
	if err != nil {
		return "", err
	}
	err = a.change(false, func(r *record) error {
		if len(r.Accounts) > 0 {
			return ErrSetUp
		}
		r.Accounts = append(r.Accounts, one)
		return nil
	})
	if err != nil {
		return "", err
	}
	a.setup.mu.Lock()
	a.setup.code = ""
	a.setup.mu.Unlock()
	return a.begin(one.Name)
}

func (a *Accounts) checkCode(from netip.Addr, code string) error {
	address, now := neighbour(from), a.now()
	a.setup.mu.Lock()
	defer a.setup.mu.Unlock()
	if a.setup.code == "" || a.setup.tries >= codeTries {
		return ErrNoCode
	}
	// The key is no name: names have no such sign.
	if wait := a.limits.take(address, "\x00setup", now); wait > 0 {
		return &WaitError{wait}
	}
	typed := strings.ToUpper(strings.NewReplacer("-", "", " ", "").Replace(code))
	if subtle.ConstantTimeCompare([]byte(typed), []byte(strings.ReplaceAll(a.setup.code, "-", ""))) != 1 {
		a.setup.tries++
		return errCode
	}
	a.limits.succeeded(address, "\x00setup", now)
	return nil
}
