package config

import (
	"errors"
	"fmt"
	"net/url"
	"regexp"
	"strings"
	"time"

	"github.com/pelletier/go-toml/v2/unstable"

	"fluewright/daemon/internal/units"
)

// RemoteWrite is one receiver of Prometheus remote write.
type RemoteWrite struct {
	// Name tells it from others, and what was sent to it from what was sent to them.
	Name string
	URL  string
	// Newer begins with version 2.0 of the protocol.
	Newer bool
	// Interval is how far apart samples are, Every how far apart requests, BackFill how old a
	// sample may be.
	Interval, Every, BackFill time.Duration
	// User and PasswordFile, or TokenFile; secrets never stand in the configuration.
	User, PasswordFile, TokenFile string
	CAFile                        string
	CertificateFile, KeyFile      string
	Tenant                        string
}

// remoteWrite reads the receivers; there is none by default.
func remoteWrite(root *table, h History) []RemoteWrite {
	list := root.take("remote-write")
	if list == nil {
		return nil
	}
	if list.table() || list.kind != unstable.ArrayTable && list.kind != unstable.Array {
		root.at(list.line, "remote-write is %s; it is a list, write [[remote-write]] in two brackets before each receiver", list.what())
		return nil
	}
	if h.Off {
		root.at(list.line, "remote-write sends what the history holds, and history.keep is \"no\"; keep one, or leave this out")
	}
	var all []RemoteWrite
	names := map[string]bool{}
	for _, n := range list.items {
		if !n.table() {
			root.at(n.line, "remote-write has %s in it; write [[remote-write]] before each receiver", n.what())
			continue
		}
		one := receiver(newTable(root.problems, "remote-write", n))
		if one.Name != "" && names[one.Name] {
			root.at(n.line, "remote-write.name %q is there twice; each receiver has its own, by which it is known what it was sent", one.Name)
		}
		names[one.Name] = true
		all = append(all, one)
	}
	return all
}

func receiver(t *table) RemoteWrite {
	const place = "has no place in the configuration; put it into a file that only the service can read, and give the path of that as "
	t.refuse("password", "a password "+place+"password-file")
	t.refuse("token", "a token "+place+"token-file")
	for _, key := range []string{"name", "url"} {
		if t.keys.keys[key] == nil {
			t.at(t.line, "%s is missing; a receiver is like name = \"desk\" and url = \"https://prometheus.example/api/v1/write\"", t.name(key))
		}
	}
	interval := quantity(t, "interval", units.ParseDuration, span{"10 s", "1 s", "60 s"})
	if interval.ok() && time.Minute%interval.value != 0 {
		t.at(interval.line, "remote-write.interval is %s; a minute is made of whole intervals, so it is like 1 s, 10 s, 15 s or 60 s", seconds(interval.value))
	}
	every := quantity(t, "send-every", units.ParseDuration, span{"60 s", "1 s", "4 min"})
	r := RemoteWrite{
		Name:            t.text("name", "", receiverName).value,
		URL:             t.text("url", "", receiverURL).value,
		Newer:           t.choice("protocol", "1.0", []string{"1.0", "2.0"}).value == "2.0",
		Interval:        interval.value,
		Every:           every.value,
		BackFill:        quantity(t, "back-fill", units.ParseSpan, span{"3 days", "1 day", "60 days"}).value,
		User:            t.text("user", "", plain).value,
		PasswordFile:    t.text("password-file", "", file).value,
		TokenFile:       t.text("token-file", "", file).value,
		CAFile:          t.text("ca-file", "", file).value,
		CertificateFile: t.text("certificate-file", "", file).value,
		KeyFile:         t.text("key-file", "", file).value,
		Tenant:          t.text("tenant", "", clientID).value,
	}
	t.together("user", "password-file")
	t.together("certificate-file", "key-file")
	if n := t.keys.keys["token-file"]; n != nil && t.keys.keys["user"] != nil {
		t.at(n.line, "remote-write.token-file and user exclude each other; keep one way to say who we are")
	}
	for _, key := range []string{"ca-file", "certificate-file"} {
		if n := t.keys.keys[key]; n != nil && strings.HasPrefix(r.URL, "http:") {
			t.at(n.line, "%s is for an encrypted connection; write the url as https://…, or leave this out", t.name(key))
		}
	}
	t.done()
	return r
}

// together reports one of two keys without the other.
func (t *table) together(a, b string) {
	for _, pair := range [][2]string{{a, b}, {b, a}} {
		if n := t.keys.keys[pair[0]]; n != nil && t.keys.keys[pair[1]] == nil {
			t.at(n.line, "%s says nothing without %s; give both or neither", t.name(pair[0]), pair[1])
		}
	}
}

// receiverNames keeps a name usable as part of a file's.
var receiverNames = regexp.MustCompile(`^[a-z0-9-]{1,32}$`)

func receiverName(s string) error {
	if !receiverNames.MatchString(s) {
		return fmt.Errorf("%q is no name of a receiver; it is 1 to 32 of a-z, 0-9 and -", s)
	}
	return nil
}

// receiverURL checks where to send. A message never repeats a password.
func receiverURL(s string) error {
	const want = `it is like "https://prometheus.example/api/v1/write"`
	if strings.Contains(s, "@") {
		return errors.New("user and password do not stand in the address; give them as user and password-file")
	}
	u, err := url.Parse(s)
	if err != nil || u.Scheme != "http" && u.Scheme != "https" || u.Hostname() == "" || u.Path == "" || u.Path == "/" || u.Fragment != "" || !printable(s) ||
		u.Port() != "" && !port(u.Port(), 1) {
		return fmt.Errorf("%q is no address of a receiver; %s", s, want)
	}
	return nil
}
