package broker

import (
	"crypto/pbkdf2"
	"crypto/sha256"
	"crypto/sha512"
	"crypto/subtle"
	"encoding/base64"
	"errors"
	"fmt"
	"os"
	"strconv"
	"strings"
	"sync"
)

// Secret is what a user's password is checked against. It does not hold the password.
type Secret struct {
	sum        []byte
	salt       []byte // nil: sum is the SHA-256 of a password that stood in the file plainly
	iterations int
}

// The bounds of what a file may ask for. A hash that takes a small board seconds would let
// strangers keep it busy.
const (
	shortestPassword = 8 // bytes; failures are limited, so guessing is slow
	mostIterations   = 1_000_000
	largestFile      = 64 << 10 // bytes
)

// ReadSecret reads a file that holds a user's password and nothing else, or hashes as
// mosquitto_passwd writes them, "name:$7$…", of which one is the user's. No error repeats
// what is in the file.
func ReadSecret(file, user string) (Secret, error) {
	info, err := os.Stat(file)
	if err != nil {
		return Secret{}, err
	}
	if info.Size() > largestFile {
		return Secret{}, fmt.Errorf("%s is too large for a password", file)
	}
	text, err := os.ReadFile(file)
	if err != nil {
		return Secret{}, err
	}
	s, err := parseSecret(string(text), user)
	if err != nil {
		return Secret{}, fmt.Errorf("%s: %w", file, err)
	}
	return s, nil
}

func parseSecret(text, user string) (Secret, error) {
	text = strings.TrimRight(text, "\r\n")
	hashes := false
	for line := range strings.Lines(text) {
		name, hash, found := strings.Cut(strings.TrimRight(line, "\r\n"), ":")
		if !found || !strings.HasPrefix(hash, "$") {
			continue
		}
		if hashes = true; name == user {
			return parseHash(hash)
		}
	}
	switch {
	case hashes:
		return Secret{}, fmt.Errorf("there is no line for the user %s; mosquitto_passwd adds one", user)
	case strings.ContainsAny(text, "\r\n"):
		return Secret{}, errors.New("there is more than one line; it holds the password and nothing else, or what mosquitto_passwd writes")
	case len(text) < shortestPassword:
		return Secret{}, fmt.Errorf("the password is too short; take %d characters or more", shortestPassword)
	}
	sum := sha256.Sum256([]byte(text))
	return Secret{sum: sum[:]}, nil
}

// parseHash reads "$7$iterations$salt$hash", PBKDF2 with HMAC-SHA-512.
func parseHash(hash string) (s Secret, err error) {
	part := strings.Split(hash, "$")
	if len(part) != 5 || part[1] != "7" {
		return s, errors.New("this hash is not known; mosquitto_passwd of mosquitto 2 writes those that begin with $7$")
	}
	if s.iterations, err = strconv.Atoi(part[2]); err != nil || s.iterations < 1 || s.iterations > mostIterations {
		return s, fmt.Errorf("the hash has no number of iterations between 1 and %d", mostIterations)
	}
	s.salt, err = base64.StdEncoding.DecodeString(part[3])
	if err != nil || len(s.salt) == 0 {
		return s, errors.New("the salt of the hash cannot be read")
	}
	if s.sum, err = base64.StdEncoding.DecodeString(part[4]); err != nil || len(s.sum) < 32 || len(s.sum) > 64 {
		return s, errors.New("the hash cannot be read")
	}
	return s, nil
}

// hashing lets one password be hashed at a time: strangers cannot take the whole board.
var hashing sync.Mutex

// matches compares in a time that does not depend on what is in the password.
func (s *Secret) matches(password []byte) bool {
	if s.salt == nil {
		sum := sha256.Sum256(password)
		return subtle.ConstantTimeCompare(sum[:], s.sum) == 1
	}
	hashing.Lock()
	defer hashing.Unlock()
	sum, err := pbkdf2.Key(sha512.New, string(password), s.salt, s.iterations, len(s.sum))
	return err == nil && subtle.ConstantTimeCompare(sum, s.sum) == 1
}
