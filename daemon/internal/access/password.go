package access

import (
	"context"
	"crypto/rand"
	"crypto/subtle"
	"encoding/base64"
	"errors"
	"fmt"
	"strings"
	"unicode"
	"unicode/utf8"

	"golang.org/x/crypto/argon2"
)

// What a hash costs: the least of OWASP's Password Storage Cheat Sheet for argon2id. More
// memory would not fit beside the monitor on a small board.
const (
	hashMemory = 19 << 10 // KiB
	hashPasses = 2
	hashLanes  = 1
	saltBytes  = 16
	hashBytes  = 32
)

// How long a password may be.
const (
	minPassword = 10  // characters
	maxPassword = 256 // bytes
)

// ErrBusy is returned when too many wait for their password to be looked at.
var ErrBusy = errors.New("too many people sign in at this moment; try again in a few seconds")

// checkPassword says what is wrong with a new password.
func checkPassword(name, password string) error {
	switch {
	case !utf8.ValidString(password) || strings.ContainsFunc(password, unicode.IsControl):
		return Refusal("the password has signs that cannot be typed")
	case utf8.RuneCountInString(password) < minPassword:
		return Refusal(fmt.Sprintf("the password is too short; it has %d characters or more, several words are easy to keep in mind", minPassword))
	case len(password) > maxPassword:
		return Refusal(fmt.Sprintf("the password is too long; it has %d characters at most", maxPassword))
	case strings.Contains(fold(password), fold(name)):
		return Refusal("the password holds the name; take another one")
	case strings.Count(password, password[:1]) == len(password):
		return Refusal("the password is one character again and again; take another one")
	}
	return nil
}

// turnstile lets one hash be made at a time, so that memory stays bounded, and few wait.
type turnstile struct {
	turn    chan struct{}
	waiting chan struct{}
	memory  uint32 // that a new hash costs, KiB
}

const mostWaiting = 8

func newTurnstile() turnstile {
	return turnstile{make(chan struct{}, 1), make(chan struct{}, mostWaiting), hashMemory}
}

func (t turnstile) do(ctx context.Context, work func()) error {
	select {
	case t.waiting <- struct{}{}:
		defer func() { <-t.waiting }()
	default:
		return ErrBusy
	}
	select {
	case t.turn <- struct{}{}:
		defer func() { <-t.turn }()
	case <-ctx.Done():
		return ctx.Err()
	}
	work()
	return nil
}

// hash makes a PHC string of a password.
func (t turnstile) hash(ctx context.Context, password string) (phc string, err error) {
	var salt [saltBytes]byte
	_, _ = rand.Read(salt[:]) // never fails
	err = t.do(ctx, func() {
		sum := argon2.IDKey([]byte(password), salt[:], hashPasses, t.memory, hashLanes, hashBytes)
		phc = fmt.Sprintf("$argon2id$v=%d$m=%d,t=%d,p=%d$%s$%s", argon2.Version, t.memory, hashPasses, hashLanes,
			base64.RawStdEncoding.EncodeToString(salt[:]), base64.RawStdEncoding.EncodeToString(sum))
	})
	return phc, err
}

// nobodys is the hash of no password: what is typed for a name that is unknown is compared
// with it, so that the answer takes as long.
func (t turnstile) nobodys() string {
	return fmt.Sprintf("$argon2id$v=%d$m=%d,t=%d,p=%d$%s$%s", argon2.Version, t.memory, hashPasses, hashLanes,
		strings.Repeat("A", 22), strings.Repeat("A", 43))
}

// verify compares a password with a PHC string.
func (t turnstile) verify(ctx context.Context, phc, password string) (ok bool, err error) {
	h, err := parseHash(phc)
	if err != nil {
		return false, err
	}
	err = t.do(ctx, func() {
		sum := argon2.IDKey([]byte(password), h.salt, h.passes, h.memory, h.lanes, uint32(len(h.sum)))
		ok = subtle.ConstantTimeCompare(sum, h.sum) == 1
	})
	return ok && phc != t.nobodys(), err
}

type hashed struct {
	memory, passes uint32
	lanes          uint8
	salt, sum      []byte
}

var errHash = errors.New("a password's hash is none of argon2id's")

// parseHash reads a PHC string. One that would cost much more than ours is refused.
func parseHash(phc string) (h hashed, err error) {
	parts := strings.Split(phc, "$")
	if len(parts) != 6 || parts[0] != "" || parts[1] != "argon2id" || parts[2] != fmt.Sprintf("v=%d", argon2.Version) {
		return h, errHash
	}
	if _, err := fmt.Sscanf(parts[3], "m=%d,t=%d,p=%d", &h.memory, &h.passes, &h.lanes); err != nil {
		return h, errHash
	}
	if h.memory < 8 || h.memory > 64<<10 || h.passes < 1 || h.passes > 8 || h.lanes < 1 || h.lanes > 4 {
		return h, errHash
	}
	if h.salt, err = base64.RawStdEncoding.DecodeString(parts[4]); err != nil || len(h.salt) < 8 || len(h.salt) > 64 {
		return h, errHash
	}
	if h.sum, err = base64.RawStdEncoding.DecodeString(parts[5]); err != nil || len(h.sum) < 16 || len(h.sum) > 64 {
		return h, errHash
	}
	return h, nil
}
