package fleettest

import (
	"crypto/tls"
	"os/exec"
	"strings"
	"testing"
	"time"
)

// A monitor that is lost: revoked, it does not come in any more once the broker has read the
// list. What stands stays, and hears and says nothing from the reload on with the rule that the
// page gives. The monitor that replaces it comes in under the same name, and ends what stands.
func TestALostMonitor(t *testing.T) {
	t.Parallel()
	a := NewAuthority(t)
	b := NewBroker(t, a)
	lost, other, desk := a.TLS(a.Site("cellar-9")), a.TLS(a.Site("cellar-7")), a.TLS(a.Person("desk", ""))
	standing := Join(t, b.Sites, lost, Hello{})
	neighbour := Join(t, b.Sites, other, Hello{})
	d := Join(t, b.People, desk, Hello{})
	d.Hear("fluewright/#")
	standing.Hear("fluewright/cellar-9/command/#")
	standing.Say("fluewright/cellar-9/state", "kept", true)

	a.Do("revoke", "SITE=cellar-9")
	if c, err := Dial(t, b.Sites, lost, Hello{}); err != nil {
		t.Errorf("out before the broker has the list: %v", err)
	} else if !standing.Lost(patience) {
		t.Fatal("two of one name")
	} else {
		standing = c
		standing.Hear("fluewright/cellar-9/command/#")
	}
	b.Lists(a)
	b.Reload()
	if c, err := Dial(t, b.Sites, lost, Hello{}); err == nil {
		c.Quit()
		t.Error("a revoked monitor comes in")
	}
	// What really happens to what stands: nothing.
	standing.Say("fluewright/cellar-9/state", "still here", false)
	if standing.Lost(300*time.Millisecond) || !d.Heard("fluewright/cellar-9/state", "still here") {
		t.Log("the reload alone ends a connection whose certificate is revoked; the page says otherwise")
		t.Fail()
	}
	b.Rules("user cellar-9\ntopic deny #\n")
	b.Reload()
	standing.Say("fluewright/cellar-9/state", "muted", false)
	d.Say("fluewright/cellar-9/command/trend", "asked", false)
	if d.Heard("fluewright/cellar-9/state", "muted") || standing.Heard("fluewright/cellar-9/command/trend", "asked") {
		t.Error("the rule does not take the rights from a connection that stands")
	}
	fresh := Join(t, b.People, desk, Hello{})
	fresh.Hear("fluewright/cellar-9/#")
	t.Logf("what it had retained is delivered still: %v", fresh.Heard("fluewright/cellar-9/state", "kept"))
	if neighbour.Lost(0) || d.Lost(0) {
		t.Error("a reload puts others out")
	}

	b.Install("acl", strings.Replace(Text(t, b.Dir+"/acl"), "user cellar-9\ntopic deny #\n", "", 1))
	b.Reload()
	replaced := Join(t, b.Sites, a.TLS(a.Site("cellar-9")), Hello{})
	if !standing.Lost(patience) {
		t.Error("the lost one stands beside the one that replaces it")
	}
	replaced.Say("fluewright/cellar-9/state", "back", false)
	if !d.Heard("fluewright/cellar-9/state", "back") {
		t.Error("the one that replaces it is not heard")
	}
}

func run(t *testing.T, program string, args ...string) string {
	t.Helper()
	out, err := exec.Command(program, args...).Output()
	if err != nil {
		t.Fatal(err)
	}
	return string(out)
}

// A person is revoked alike, alone among others of the same role.
func TestAPersonWhoLeaves(t *testing.T) {
	t.Parallel()
	a := NewAuthority(t)
	b := NewBroker(t, a)
	leaves, stays := a.Person("desk", ""), a.Person("desk", "")
	serial := strings.ToUpper(strings.TrimSpace(run(t, "openssl", "x509", "-in", leaves.Cert, "-noout", "-serial")))
	a.Do("revoke-person", "SERIAL="+strings.TrimPrefix(serial, "SERIAL="))
	b.Lists(a)
	b.Reload()
	if _, err := Dial(t, b.People, a.TLS(leaves), Hello{}); err == nil {
		t.Error("a revoked person comes in")
	}
	Join(t, b.People, a.TLS(stays), Hello{})
}

// A list that has ended lets nobody in, which is why it is made anew each week; a new one and a
// reload mend it. Connections that stand go on meanwhile, so that it begins unseen.
func TestAListThatHasEnded(t *testing.T) {
	t.Parallel()
	a := NewAuthority(t)
	site, desk := a.TLS(a.Site("cellar-7")), a.TLS(a.Person("desk", ""))
	a.Altered("lists", "-gencrl", "-gencrl -crlsec 8")
	b := NewBroker(t, a)
	standing := Join(t, b.Sites, site, Hello{})
	in := func(port string, secure *tls.Config) bool {
		c, err := Dial(t, port, secure, Hello{ClientID: "another"})
		if err == nil {
			c.Quit()
		}
		return err == nil
	}
	other := a.TLS(a.Site("barn-2"))
	eventually(t, "the list has ended", func() bool { return !in(b.Sites, other) })
	eventually(t, "so has that of people", func() bool { return !in(b.People, desk) })
	if standing.Lost(0) {
		t.Error("what stands is ended")
	}
	a.Do("lists")
	b.Lists(a)
	b.Reload()
	if !in(b.Sites, other) || !in(b.People, desk) {
		t.Error("a new list does not mend it")
	}
}

// The broker's own certificate is renewed with a reload, and nobody is put out.
func TestTheBrokersCertificateIsRenewed(t *testing.T) {
	t.Parallel()
	a := NewAuthority(t)
	b := NewBroker(t, a)
	site := a.TLS(a.Site("cellar-7"))
	c := Join(t, b.Sites, site, Hello{})
	serial := func() string {
		conn, err := tls.Dial("tcp", b.Sites, site)
		if err != nil {
			t.Fatal(err)
		}
		defer conn.Close()
		return conn.ConnectionState().PeerCertificates[0].SerialNumber.String()
	}
	before := serial()
	a.Do("broker")
	b.Install("broker.pem", a.Read("broker.pem"))
	b.Reload()
	if serial() == before {
		t.Error("the old one is shown")
	}
	if c.Lost(0) {
		t.Error("a reload puts sites out")
	}
}
