package fleettest

import (
	"crypto/x509"
	"encoding/pem"
	"os/exec"
	"slices"
	"strings"
	"testing"
	"time"
)

// Every command of the page is run by some test here, so that none rots.
func TestEveryCommandOfThePageIsRun(t *testing.T) {
	t.Parallel()
	a := NewAuthority(t)
	known := []string{ // those that other tests run, and NewAuthority
		"root", "sites", "people", "broker-request", "broker", "lists", "issue", "person-request", "person", "owner", "revoke", "revoke-person", "revoke-serial",
		"look", "list-ends",
	}
	for name := range a.Blocks() {
		if !slices.Contains(known, name) {
			t.Errorf("no test runs the commands %q", name)
		}
	}
	if len(a.Blocks()) != len(known) {
		t.Errorf("the page has %d of %d commands", len(a.Blocks()), len(known))
	}
	if out := a.Do("list-ends"); !strings.Contains(out, "nextUpdate=") {
		t.Errorf("the list ends: %q", out)
	}
}

// What is signed says what the authority says, whatever is asked for.
func TestARequestIsNotBelieved(t *testing.T) {
	t.Parallel()
	a := NewAuthority(t)
	key := a.key()
	asked, err := exec.Command("openssl", "req", "-new", "-config", a.Path("openssl.cnf"), "-subj", "/O=everywhere/CN=desk", "-key", key,
		"-addext", "basicConstraints=critical,CA:true", "-addext", "subjectAltName=DNS:cellar-1", "-addext", "extendedKeyUsage=serverAuth").Output()
	if err != nil {
		t.Fatal(err)
	}
	leaf := certificate(t, a.Sign("cellar-7", string(asked)))
	lasts := leaf.NotAfter.Sub(leaf.NotBefore)
	if leaf.Subject.String() != "CN=cellar-7" || leaf.IsCA || !slices.Equal(leaf.DNSNames, []string{"cellar-7"}) ||
		!slices.Equal(leaf.ExtKeyUsage, []x509.ExtKeyUsage{x509.ExtKeyUsageClientAuth}) || lasts < 729*24*time.Hour || lasts > 731*24*time.Hour {
		t.Errorf("signed is %v for %v, an authority: %v, for %v, as %v", leaf.Subject, leaf.DNSNames, leaf.IsCA, lasts, leaf.ExtKeyUsage)
	}
	if out := a.Do("look", "REQUEST="+a.Path("cellar-7-request.pem")); !strings.Contains(out, "desk") || !strings.Contains(strings.ToUpper(out), "SHA2-256") {
		t.Errorf("a look at the request says %q", out)
	}
}

// Names that could be somebody else's topics are not signed, and a name is given once.
func TestNamesThatAreNotSigned(t *testing.T) {
	t.Parallel()
	a := NewAuthority(t)
	_, request := a.request()
	file := a.write("r.pem", request)
	a.Site("cellar-7")
	for _, name := range []string{"", "abc", "+", "#", "cellar-7/#", "CN=desk", "Cellar-8", "cellar 8", "cellar.8", strings.Repeat("x", 33), "ofen-ä", "cellar-7"} {
		if out, err := a.Run("issue", "SITE="+name, "REQUEST="+file); err == nil {
			t.Errorf("%q is signed: %s", name, out)
		}
	}
	a.Site("cellar") // the beginning of another one
	a.Site("cellar-7", "RENEW=yes")
	a.Do("revoke", "SITE=cellar-7")
	if index := a.Read("sites/index.txt"); strings.Count(index, "R\t") != 2 || strings.Count(index, "V\t") != 1 {
		t.Errorf("revoked and valid:\n%s", index)
	}
	a.Site("cellar-7") // what replaces it
}

func certificate(t *testing.T, file string) *x509.Certificate {
	t.Helper()
	b, _ := pem.Decode([]byte(Text(t, file)))
	c, err := x509.ParseCertificate(b.Bytes)
	if err != nil {
		t.Fatal(err)
	}
	return c
}
