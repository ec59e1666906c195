package config

import (
	"errors"
	"fmt"
	"net"
	"net/netip"
	"net/url"
	"path"
	"regexp"
	"strconv"
	"strings"
	"unicode"

	"fluewright/daemon/internal/units"
)

// mqtt reads where to publish: to the broker within the program, or to another one.
func mqtt(t *table, site string, own within) MQTT {
	// The value is never repeated.
	t.refuse("password", "a password has no place in the configuration; put it into a file that only the service can read, and give the path of that as password-file")
	m := MQTT{
		Broker:       t.text("broker", "", broker).value,
		ClientID:     t.text("client-id", "fluewright-"+site, clientID).value,
		User:         t.text("user", "", plain).value,
		PasswordFile: t.text("password-file", "", file).value,
		CAFile:       t.text("ca-file", "", file).value,

		CertificateFile: t.text("certificate-file", "", file).value,
		KeyFile:         t.text("key-file", "", file).value,
		Root:            t.text("root", "fluewright", topicRoot).value,
		Metered:         t.choice("profile", "full", []string{"full", "metered"}).value == "metered",
		BackFill:        quantity(t, "back-fill", units.ParseSpan, span{"7 days", "1 day", "60 days"}).value,
	}
	t.together("certificate-file", "key-file")
	m.Homie = t.choice("homie", "no", []string{"yes", "no"}).value == "yes"
	m.Embedded = t.text("embedded", "127.0.0.1:1883", own.listen).value
	if n := t.keys.keys["homie"]; n != nil && m.Homie && m.Metered {
		t.at(n.line, "mqtt.homie is \"yes\" and the profile \"metered\"; the Homie view is about ten times the traffic, keep one")
	}
	remote := t.keys.keys["broker"]
	if remote == nil {
		for _, key := range []string{"client-id", "user", "password-file", "ca-file", "certificate-file", "key-file", "root"} {
			if n := t.keys.keys[key]; n != nil {
				t.at(n.line, "%s is for a broker elsewhere; give its address as broker, or leave this out", t.name(key))
			}
		}
	} else {
		if n := t.keys.keys["embedded"]; n != nil {
			t.at(n.line, "mqtt.embedded and mqtt.broker exclude each other; keep one")
		}
		if own.line > 0 {
			t.at(own.line, "the table broker is about the broker within the program, and mqtt.broker names another one; keep one")
		}
		m.Embedded = ""
	}
	if n := t.keys.keys["password-file"]; n != nil && t.keys.keys["user"] == nil && remote != nil {
		t.at(n.line, "mqtt.password-file without user; MQTT 3.1.1 knows no password without a user name, give user too")
	}
	for _, key := range []string{"ca-file", "certificate-file"} {
		if n := t.keys.keys[key]; n != nil && strings.HasPrefix(m.Broker, "tcp:") {
			t.at(n.line, "%s is for an encrypted connection; write the broker as ssl://…, or leave this out", t.name(key))
		}
	}
	t.done()
	return m
}

// broker checks the address of a broker. A message never repeats a password.
func broker(s string) error {
	const want = `it is like "tcp://broker.example:1883", or "ssl://broker.example:8883" encrypted`
	if strings.Contains(s, "@") {
		return errors.New("user and password do not stand in the address; give them as user and password-file")
	}
	u, err := url.Parse(s)
	if err != nil || (u.Scheme != "tcp" && u.Scheme != "ssl") || u.Hostname() == "" || !port(u.Port(), 1) || u.Scheme+"://"+u.Host != s {
		return fmt.Errorf("%q is no address of a broker; %s", s, want)
	}
	return nil
}

// port reports whether s is a port from lowest up.
func port(s string, lowest int) bool {
	n, err := strconv.ParseUint(s, 10, 16)
	return err == nil && int(n) >= lowest && strconv.FormatUint(n, 10) == s
}

// address checks an address to listen on, and returns its host: empty, "localhost" or
// an IP address. Port 0 is any free one.
func address(s string) (host string, err error) {
	host, p, err := net.SplitHostPort(s)
	if err != nil || !port(p, 0) {
		return "", fmt.Errorf("%q is no address to listen on; it is like \"127.0.0.1:8080\", or \":8080\" for every interface", s)
	}
	if host == "" || host == "localhost" {
		return host, nil
	}
	if _, err := netip.ParseAddr(host); err != nil {
		return "", fmt.Errorf("%q is no address of this computer; it is an IP address, localhost, or nothing for every interface", host)
	}
	return host, nil
}

// directory checks the path of a directory, which is absolute likewise.
func directory(s string) error {
	if !path.IsAbs(s) || !printable(s) {
		return fmt.Errorf("%q is no absolute path of a directory; it is like \"/var/lib/fluewright\"", s)
	}
	return nil
}

// file checks the path of a file. It is absolute because a service starts anywhere. The
// text is not repeated: it may be the password itself.
func file(s string) error {
	if !path.IsAbs(s) || !printable(s) {
		return errors.New("this is no absolute path of a file; it is like \"/etc/fluewright/password\"")
	}
	return nil
}

// topicRoots keeps topics free of wildcards, and of names that are the broker's own.
var topicRoots = regexp.MustCompile(`^[A-Za-z0-9_-]+(/[A-Za-z0-9_-]+)*$`)

// topicRoot checks what topics begin with.
func topicRoot(s string) error {
	if len(s) > 64 || !topicRoots.MatchString(s) {
		return fmt.Errorf("%q is no beginning of a topic; it is like \"fluewright\" or \"service/fluewright\", 64 letters, digits, - and _ at most", s)
	}
	return nil
}

// clientID checks the name under which a broker knows this client.
func clientID(s string) error {
	if s == "" || len(s) > 64 || !printable(s) || strings.Contains(s, " ") {
		return fmt.Errorf("%q is no client's name; it is 1 to 64 letters, digits and signs without a space", s)
	}
	return nil
}

// plain checks a text that goes out as it is.
func plain(s string) error {
	if s == "" || !printable(s) {
		return fmt.Errorf("%q is empty or has signs that cannot be seen; write it plainly or leave it out", s)
	}
	return nil
}

func printable(s string) bool {
	return strings.IndexFunc(s, func(r rune) bool { return !unicode.IsPrint(r) }) < 0
}
