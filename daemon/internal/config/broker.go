package config

import (
	"errors"
	"fmt"
	"net/netip"
	"regexp"
	"slices"
	"strings"
)

// Broker says who may come to the broker within the program, beside what MQTT says of it.
type Broker struct {
	// CertificateFile and KeyFile are for TLS: both, or neither without encryption.
	CertificateFile, KeyFile string
	// Users are who may connect. Without any, anybody on this computer may, and nobody else.
	Users []BrokerUser
}

// within is that with what the rules about its address need.
type within struct {
	Broker
	line    int  // of something that is said of it; 0: nothing is
	guarded bool // there are users, though what is said of them may be wrong
}

// BrokerUser is somebody who may connect to that broker.
type BrokerUser struct {
	Name string
	// PasswordFile holds the password, or hashes as mosquitto_passwd writes them.
	PasswordFile string
	// Read and Write are topic filters below the site's root.
	Read, Write []string
}

// roles are what users may read and write. Who is at the furnace may command whatever there
// is. Who is far away looks and writes down, and acknowledges nothing: an alarm that a person
// has taken is not repeated, and that person is to be at the fire.
var roles = []struct {
	name  string
	write []string
}{
	{"reader", []string{}},
	{"owner", []string{"command/acknowledge", "command/live", "command/note", "command/snapshot", "command/test-alert", "command/trend"}},
	{"technician", []string{"command/live", "command/note", "command/snapshot", "command/trend"}},
}

// embedded reads who may come to the broker within the program.
func embedded(t *table) within {
	b := within{Broker: Broker{
		CertificateFile: t.text("certificate-file", "", file).value,
		KeyFile:         t.text("key-file", "", file).value,
	}}
	for _, n := range t.keys.keys {
		if b.line == 0 || n.line < b.line {
			b.line = n.line
		}
	}
	certificate, key := t.keys.keys["certificate-file"], t.keys.keys["key-file"]
	switch {
	case certificate != nil && key == nil:
		t.at(certificate.line, "broker.certificate-file without key-file; give the key that belongs to it too")
	case certificate == nil && key != nil:
		t.at(key.line, "broker.key-file without certificate-file; give the certificate that belongs to it too")
	}
	b.guarded = t.keys.keys["user"] != nil
	users := t.many("user")
	for _, one := range users {
		u := brokerUser(one)
		if i := slices.IndexFunc(b.Users, func(o BrokerUser) bool { return o.Name == u.Name && u.Name != "" }); i >= 0 {
			t.at(one.line, "broker.user.name %q is given twice, the first on line %d; each user has their own", u.Name, users[i].line)
		}
		b.Users = append(b.Users, u)
	}
	t.done()
	return b
}

func brokerUser(t *table) BrokerUser {
	t.refuse("password", "a password has no place in the configuration; put it into a file that only the service can read, and give the path of that as password-file")
	var names []string
	for _, r := range roles {
		names = append(names, r.name)
	}
	u := BrokerUser{
		Name:         t.needed("name", "owner", shortly),
		PasswordFile: t.needed("password-file", "/etc/fluewright/owner-password", file),
	}
	role := t.choice("role", "reader", names).value
	write := roles[slices.Index(names, role)].write
	u.Read = t.texts("read", `["alarm/#", "state"]`, []string{"#"}, readable)
	u.Write = t.texts("write", `["command/acknowledge"]`, write, writable)
	t.done()
	return u
}

// readable checks a filter of what a user reads.
func readable(s string) error {
	levels := strings.Split(s, "/")
	for i, level := range levels {
		wild := strings.ContainsAny(level, "#+")
		if len(s) > 200 || !printable(s) || strings.Contains(s, " ") || level == "" || level[0] == '$' ||
			wild && len(level) > 1 || level == "#" && i < len(levels)-1 {
			return fmt.Errorf("%q is no filter; it is like \"alarm/#\" or \"state\", below the topics of the site, or \"#\" for all of them", s)
		}
	}
	if levels[0] == "command" {
		return errors.New("commands are for the monitor alone to read; leave this out")
	}
	return nil
}

var oneCommand = regexp.MustCompile(`^command/([a-z-]{1,32}|\+)$`)

// writable checks a filter of what a user writes.
func writable(s string) error {
	if !oneCommand.MatchString(s) {
		return fmt.Errorf("%q is no command; users write nothing else, and it is like \"command/acknowledge\", or \"command/+\" for all of them", s)
	}
	return nil
}

// listen checks the address of the broker within the program. Without users it cannot tell a
// reader from an intruder.
func (b *within) listen(s string) error {
	host, err := address(s)
	if err != nil || b.guarded {
		return err
	}
	if ip, err := netip.ParseAddr(host); host != "localhost" && (err != nil || !ip.IsLoopback()) {
		return fmt.Errorf("%q can be reached from outside, and this broker has no users; give it some, each a [[broker.user]], or listen on loopback, like \"127.0.0.1:1883\"", s)
	}
	return nil
}
