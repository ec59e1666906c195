package fleettest

import (
	"crypto/tls"
	"io"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

func eventually(t *testing.T, what string, holds func() bool) {
	t.Helper()
	for deadline := time.Now().Add(patience); !holds(); time.Sleep(20 * time.Millisecond) {
		if time.Now().After(deadline) {
			t.Fatalf("not yet: %s", what)
		}
	}
}

// Who comes in at which door: a certificate of the right authority that holds now, and nobody
// else.
func TestWhoComesIn(t *testing.T) {
	t.Parallel()
	a := NewAuthority(t)
	stranger := NewAuthority(t)
	b := NewBroker(t, a)
	now := time.Now().UTC()
	at := func(d time.Duration) string { return now.Add(d).Format("20060102150405Z") }
	site, person := a.Site("cellar-7"), a.Person("desk", "")
	alone := Identity{a.Path("cellar-7-alone.pem"), site.Key}
	trust := a.TLS(Identity{})
	foreign := func(who Identity) *tls.Config {
		c := stranger.TLS(who)
		c.RootCAs = trust.RootCAs
		return c
	}
	for name, tt := range map[string]struct {
		port   string
		secure *tls.Config
		in     bool
	}{
		"a site":                          {b.Sites, a.TLS(site), true},
		"a site without its chain":        {b.Sites, a.TLS(alone), true},
		"a person":                        {b.People, a.TLS(person), true},
		"a site among people":             {b.People, a.TLS(site), false},
		"a person among sites":            {b.Sites, a.TLS(person), false},
		"nobody":                          {b.Sites, trust, false},
		"nobody among people":             {b.People, trust, false},
		"a site of another fleet":         {b.Sites, foreign(stranger.Site("cellar-7")), false},
		"a person of another fleet":       {b.People, foreign(stranger.Person("desk", "")), false},
		"one that has ended":              {b.Sites, a.TLS(a.Dated("barn-2", at(-48*time.Hour), at(-time.Hour))), false},
		"one that has not begun":          {b.Sites, a.TLS(a.Dated("barn-3", at(time.Hour), at(48*time.Hour))), false},
		"the broker's own":                {b.Sites, a.TLS(Identity{a.Path("broker.pem"), a.Path("broker-key.pem")}), false},
		"the broker's own, among people":  {b.People, a.TLS(Identity{a.Path("broker.pem"), a.Path("broker-key.pem")}), false},
		"a site that sends a user's name": {b.Sites, a.TLS(site), true},
	} {
		t.Run(name, func(t *testing.T) {
			c, err := Dial(t, tt.port, tt.secure, Hello{User: "CN=desk"})
			if (err == nil) != tt.in {
				t.Fatalf("let in: %v, %v", err == nil, err)
			}
			if c != nil {
				c.Quit()
			}
		})
	}
	t.Run("without TLS", func(t *testing.T) {
		for _, port := range []string{b.Sites, b.People} {
			if _, err := Dial(t, port, nil, Hello{ClientID: "x"}); err == nil {
				t.Errorf("let in at %s", port)
			}
		}
	})
	t.Run("TLS 1.1", func(t *testing.T) {
		old := a.TLS(site)
		old.MinVersion, old.MaxVersion = tls.VersionTLS10, tls.VersionTLS11
		if _, err := Dial(t, b.Sites, old, Hello{}); err == nil {
			t.Error("let in")
		}
	})
}

// Nobody throws another out by calling himself like it: the identifier is the certificate's
// name. A copy of the certificate does throw out, and the log says so.
func TestTakeOver(t *testing.T) {
	t.Parallel()
	a := NewAuthority(t)
	b := NewBroker(t, a)
	cellar, barn := a.TLS(a.Site("cellar-7")), a.TLS(a.Site("barn-2"))
	first := Join(t, b.Sites, cellar, Hello{ClientID: "fluewright-cellar-7"})
	for _, id := range []string{"cellar-7", "fluewright-cellar-7"} {
		Join(t, b.Sites, barn, Hello{ClientID: id, User: "cellar-7"}).Quit()
	}
	if first.Lost(300 * time.Millisecond) {
		t.Fatal("another site throws it out")
	}
	Join(t, b.Sites, cellar, Hello{ClientID: "anything"})
	if !first.Lost(patience) {
		t.Error("two of one name")
	}
	eventually(t, "the log says so", func() bool {
		return strings.Contains(b.Log(), "Client cellar-7 already connected, closing old connection.")
	})
}

// The rules keep what is heard from whoever may not hear it, but not from being handed out to
// him: with a shared subscription a site that guesses its name takes a part away from the desk.
// So nobody uses shared subscriptions here, and the page says so.
func TestASharedSubscription(t *testing.T) {
	t.Parallel()
	a := NewAuthority(t)
	b := NewBroker(t, a)
	cellar := Join(t, b.Sites, a.TLS(a.Site("cellar-7")), Hello{})
	barn := Join(t, b.Sites, a.TLS(a.Site("barn-2")), Hello{})
	desk := Join(t, b.People, a.TLS(a.Person("desk", "")), Hello{})
	desk.Hear("fluewright/+/event")
	barn.Hear("$share/desk/fluewright/+/event", "$share/desk/#")
	const n = 20
	for range n {
		cellar.Say("fluewright/cellar-7/event", "e", false)
	}
	if all := barn.All(); len(all) > 0 {
		t.Errorf("another site hears %q", all)
	}
	if got := len(desk.All()); got != n {
		t.Errorf("the desk hears %d of %d", got, n)
	}
	sharing := Join(t, b.People, a.TLS(a.Person("desk", "")), Hello{})
	sharing.Hear("$share/desk/fluewright/+/event")
	for range n {
		cellar.Say("fluewright/cellar-7/event", "e", false)
	}
	t.Logf("of %d messages the desk's shared subscription gets %d while a site has joined it", n, len(sharing.All()))
	if text := Text(t, filepath.Join(Configs(t), "fleet", "mosquitto", "README.md")); !strings.Contains(text, "$share") {
		t.Error("the page does not warn")
	}
}

// A monitor that is met by another monitor's certificate, or by a broker's that the authority of
// the sites has made, does not take it for the broker.
func TestNobodyElseIsTheBroker(t *testing.T) {
	t.Parallel()
	a := NewAuthority(t)
	site := a.Site("localhost") // called like the broker
	key := a.key()
	request := filepath.Join(a.Dir, "forged-request.pem")
	if out, err := exec.Command("openssl", "req", "-new", "-config", a.Path("openssl.cnf"), "-subj", "/CN=localhost", "-key", key, "-out", request).CombinedOutput(); err != nil {
		t.Fatalf("%v\n%s", err, out)
	}
	a.Altered("issue", "-extensions site", "-extensions broker", "SITE=localhost", "RENEW=yes", "REQUEST="+request)
	forged := Identity{a.Path("localhost.pem"), key}
	for name, tt := range map[string]struct {
		who Identity
		in  bool
	}{
		"the broker":                             {Identity{a.Path("broker.pem"), a.Path("broker-key.pem")}, true},
		"a site":                                 {site, false},
		"what the authority of sites has forged": {forged, false},
	} {
		pair, err := tls.LoadX509KeyPair(tt.who.Cert, tt.who.Key)
		if err != nil {
			t.Fatal(err)
		}
		l, err := tls.Listen("tcp", "127.0.0.1:0", &tls.Config{Certificates: []tls.Certificate{pair}})
		if err != nil {
			t.Fatal(err)
		}
		go func() {
			if c, err := l.Accept(); err == nil {
				_, _ = io.Copy(io.Discard, c)
				_ = c.Close()
			}
		}()
		c, err := tls.Dial("tcp", l.Addr().String(), a.TLS(Identity{}))
		if (err == nil) != tt.in {
			t.Errorf("%s is taken for the broker: %v, %v", name, err == nil, err)
		}
		if err == nil {
			_ = c.Close()
		}
		_ = l.Close()
	}
}
