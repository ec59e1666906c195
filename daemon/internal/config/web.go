package config

import (
	"fmt"
	"net/netip"
	"regexp"
	"strings"
)

// web reads where to serve, and to whom. Beyond loopback is allowed: an owner's phone is the
// reason for the pages.
func web(t *table, m MQTT) Web {
	// The value is never repeated.
	t.refuse("password", "passwords have no place in the configuration; people have accounts of their own, see \"fluewright access\"")
	listen := t.text("listen", "127.0.0.1:8080", func(s string) error {
		_, err := address(s)
		return err
	})
	if listen.ok() && listen.value == m.Embedded && !strings.HasSuffix(listen.value, ":0") {
		t.at(listen.line, "web.listen and mqtt.embedded are both %s; give one another port", listen.value)
	}
	w := Web{
		Listen:            listen.value,
		ReadWithoutSignIn: t.choice("read-without-sign-in", "this-computer", []string{"nobody", "this-computer", "network"}).value,
		CertificateFile:   t.text("certificate-file", "", file).value,
		KeyFile:           t.text("key-file", "", file).value,
		Names:             t.texts("names", `["furnace.lan"]`, []string{}, hostName),
	}
	t.together("certificate-file", "key-file")
	t.done()
	return w
}

var hostNames = regexp.MustCompile(`^([a-z0-9]([a-z0-9-]{0,61}[a-z0-9])?)(\.[a-z0-9]([a-z0-9-]{0,61}[a-z0-9])?)*$`)

// hostName checks a name by which browsers ask for the pages.
func hostName(s string) error {
	_, err := netip.ParseAddr(s)
	if err == nil || len(s) > 253 || !hostNames.MatchString(s) {
		return fmt.Errorf("%q is no name of a computer; it is like \"furnace.lan\", in small letters, without a port (addresses need no entry)", s)
	}
	return nil
}
