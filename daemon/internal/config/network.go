package config

import (
	"errors"
	"fmt"
	"net"
	"net/netip"
	"net/url"
	"path"
	"strconv"
	"strings"
	"unicode"
)

// mqtt reads where to publish: to the broker within the program, or to another one.
func mqtt(t *table, site string) MQTT {
	// The value is never repeated.
	t.refuse("password", "a password has no place in the configuration; put it into a file that only the service can read, and give the path of that as password-file")
	m := MQTT{
		Broker:       t.text("broker", "", broker).value,
		ClientID:     t.text("client-id", "fluewright-"+site, clientID).value,
		User:         t.text("user", "", plain).value,
		PasswordFile: t.text("password-file", "", file).value,
		CAFile:       t.text("ca-file", "", file).value,
	}
	m.Embedded = t.text("embedded", "127.0.0.1:1883", loopback).value
	remote := t.keys.keys["broker"]
	if remote == nil {
		for _, key := range []string{"client-id", "user", "password-file", "ca-file"} {
			if n := t.keys.keys[key]; n != nil {
				t.at(n.line, "%s is for a broker elsewhere; give its address as broker, or leave this out", t.name(key))
			}
		}
	} else {
		if n := t.keys.keys["embedded"]; n != nil {
			t.at(n.line, "mqtt.embedded and mqtt.broker exclude each other; keep one")
		}
		m.Embedded = ""
	}
	if n := t.keys.keys["password-file"]; n != nil && t.keys.keys["user"] == nil && remote != nil {
		t.at(n.line, "mqtt.password-file without user; MQTT 3.1.1 knows no password without a user name, give user too")
	}
	if n := t.keys.keys["ca-file"]; n != nil && strings.HasPrefix(m.Broker, "tcp:") {
		t.at(n.line, "mqtt.ca-file is for an encrypted connection; write the broker as ssl://…, or leave this out")
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

// loopback checks the address of the broker within the program, which asks nobody for a
// password.
func loopback(s string) error {
	host, err := address(s)
	if err != nil {
		return err
	}
	if ip, err := netip.ParseAddr(host); host != "localhost" && (err != nil || !ip.IsLoopback()) {
		return fmt.Errorf("%q can be reached from outside, and this broker asks for no password; it is on loopback, like \"127.0.0.1:1883\"", s)
	}
	return nil
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
