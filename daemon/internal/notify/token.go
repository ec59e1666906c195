package notify

import (
	"crypto/hmac"
	"crypto/sha256"
	"encoding/base64"
	"errors"
	"fmt"
	"strconv"
	"strings"

	"fluewright/analysis/alarm"
	"fluewright/analysis/frame"
)

// Sealer makes and checks the tokens by which a person acknowledges from a message. A token
// names person and occurrences and carries an HMAC-SHA-256 of that under a key that never
// leaves the device: nobody can make one for an alarm that they were not told of, and one
// that is sent again says what was said already. It has an effect once, because an
// occurrence is acknowledged once; after the next raising it is of another occurrence.
type Sealer struct{ key []byte }

// KeyBytes is the length of a Sealer's key.
const KeyBytes = 32

// longestToken is more than a token of every alarm that a site can have.
const longestToken = 2048

// Acknowledgement is what a person says of one occurrence.
type Acknowledgement struct {
	Key        alarm.Key
	Occurrence uint32
	By         string
}

const tokenVersion = "fw1"

// Seal makes the token of a person for what a message asks; empty if it asks nothing.
func (s Sealer) Seal(person string, asked []Line) string {
	if len(asked) == 0 {
		return ""
	}
	parts := []string{tokenVersion, base64.RawURLEncoding.EncodeToString([]byte(person))}
	for _, l := range asked {
		parts = append(parts, fmt.Sprintf("%s:%d", l.Key, l.Occurrence))
	}
	return s.sign(strings.Join(parts, " "))
}

// SealTest makes a token that acknowledges nothing but a test.
func (s Sealer) SealTest(id string) string {
	return s.sign(testToken + " " + base64.RawURLEncoding.EncodeToString([]byte(id)))
}

const testToken = "fwtest1"

func (s Sealer) sign(text string) string { return text + " " + s.mac(text) }

func (s Sealer) mac(text string) string {
	h := hmac.New(sha256.New, s.key)
	h.Write([]byte(text))
	return base64.RawURLEncoding.EncodeToString(h.Sum(nil)[:16])
}

var errToken = errors.New("this is no token of this monitor")

// Open checks a token and returns what it acknowledges.
func (s Sealer) Open(token string) ([]Acknowledgement, error) {
	fields, err := s.open(token, tokenVersion)
	if err != nil || len(fields) < 2 {
		return nil, errToken
	}
	person, err := base64.RawURLEncoding.DecodeString(fields[0])
	if err != nil {
		return nil, errToken
	}
	var all []Acknowledgement
	for _, f := range fields[1:] {
		key, no, found := strings.Cut(f, ":")
		n, err := strconv.ParseUint(no, 10, 32)
		if !found || err != nil {
			return nil, errToken
		}
		name, channel, has := strings.Cut(key, "/")
		a := Acknowledgement{Key: alarm.Key{Name: alarm.Name(name), Channel: frame.Count}, Occurrence: uint32(n), By: string(person)}
		if has {
			if a.Key.Channel, has = frame.Parse(channel); !has {
				return nil, errToken
			}
		}
		all = append(all, a)
	}
	return all, nil
}

// OpensTest reports whether token is that of a test.
func (s Sealer) OpensTest(token, id string) bool {
	return len(token) <= longestToken && hmac.Equal([]byte(token), []byte(s.SealTest(id)))
}

// IsTest reports whether token says that it is of a test, by whoever made it.
func IsTest(token string) bool { return strings.HasPrefix(token, testToken+" ") }

func (s Sealer) open(token, version string) ([]string, error) {
	at := strings.LastIndexByte(token, ' ')
	if len(token) > longestToken || at < 0 || !hmac.Equal([]byte(token[at+1:]), []byte(s.mac(token[:at]))) {
		return nil, errToken
	}
	fields := strings.Split(token[:at], " ")
	if fields[0] != version {
		return nil, errToken
	}
	return fields[1:], nil
}
