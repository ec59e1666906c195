package broker_test

import (
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/tls"
	"crypto/x509"
	"crypto/x509/pkix"
	"fmt"
	"log/slog"
	"math/big"
	"net"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"

	"fluewright/daemon/internal/mqtt/broker"
)

// secret makes the secret of a password.
func secret(t *testing.T, password string) broker.Secret {
	t.Helper()
	file := filepath.Join(t.TempDir(), "password")
	if err := os.WriteFile(file, []byte(password+"\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	s, err := broker.ReadSecret(file, "somebody")
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// guarded starts a broker with users: each has "password-of-<name>".
func guarded(t *testing.T, change func(*broker.Options)) *broker.Broker {
	t.Helper()
	o := broker.Options{
		Listen: "127.0.0.1:0", Root: "fluewright/cellar-7/", ClientID: "fluewright-cellar-7",
		Views: []string{"homie/5/cellar-7/#"},
		Users: []broker.User{
			{Name: "owner", Read: []string{"#"}, Write: []string{"command/acknowledge", "command/live"}},
			{Name: "display", Read: []string{"state", "alarm/#"}},
		},
		Retained: []string{"fluewright/cellar-7/availability", "fluewright/cellar-7/alarm/spillage"},
		Log:      slog.New(slog.DiscardHandler),
	}
	for i := range o.Users {
		o.Users[i].Secret = secret(t, "password-of-"+o.Users[i].Name)
	}
	if change != nil {
		change(&o)
	}
	b, err := broker.Start(o)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := b.Close(); err != nil {
			t.Error(err)
		}
	})
	return b
}

// as connects a user.
func as(t *testing.T, b *broker.Broker, user, id string) paho.Client {
	t.Helper()
	c, err := connect(t, b, func(o *paho.ClientOptions) {
		o.SetUsername(user).SetPassword("password-of-" + user).SetClientID(id)
	})
	if err != nil {
		t.Fatal(err)
	}
	return c
}

func TestWithUsersNobodyComesWithoutAPassword(t *testing.T) {
	b := guarded(t, nil)
	for _, tt := range []struct{ name, user, password, why string }{
		{"as nobody", "", "", "anonymous"},
		{"with a wrong password", "owner", "password-of-display", "password"},
		{"without one", "owner", "", "password"},
		{"as somebody unknown", "admin", "password-of-owner", "password"},
		{"under the publisher's name", "this.program", "password-of-owner", "password"},
	} {
		before := b.Stats().Refused[tt.why]
		if _, err := connect(t, b, func(o *paho.ClientOptions) { o.SetUsername(tt.user).SetPassword(tt.password) }); err == nil {
			t.Errorf("connected %s", tt.name)
		}
		if got := b.Stats().Refused[tt.why] - before; got != 1 {
			t.Errorf("%s is counted %d times as %s", tt.name, got, tt.why)
		}
	}
	as(t, b, "owner", "phone")
	// Nor through the publisher's own door.
	o := paho.NewClientOptions().AddBroker(b.Own()).SetAutoReconnect(false).SetUsername("owner").SetPassword("password-of-owner")
	if token := paho.NewClient(o).Connect(); !token.WaitTimeout(patience) || token.Error() == nil {
		t.Error("a user came through the publisher's door")
	}
}

// A password that is wrong again and again is not even looked at, from that address and for
// that user; the others come in.
func TestGuessing(t *testing.T) {
	b := guarded(t, nil)
	for range 20 {
		_, _ = connect(t, b, func(o *paho.ClientOptions) { o.SetUsername("owner").SetPassword("guess") })
	}
	if _, err := connect(t, b, func(o *paho.ClientOptions) { o.SetUsername("owner").SetPassword("password-of-owner") }); err == nil {
		t.Error("the right guess came in at the rate of the wrong ones")
	}
	if n := b.Stats().Refused; n["password"] != 6 || n["attempts"] != 15 {
		t.Errorf("counted %v", n)
	}
	as(t, b, "display", "hall")
	publisher(t, b)
}

func TestWhatUsersReadAndWrite(t *testing.T) {
	b := guarded(t, nil)
	own := publisher(t, b)
	commands := listen(t, own, "fluewright/cellar-7/command/#")
	heard := map[string]<-chan string{}
	for _, user := range []string{"owner", "display"} {
		c := as(t, b, user, "client-of-"+user)
		heard[user] = listen(t, c, "+/#") // both homie and our own
		token := c.Subscribe("fluewright/cellar-7/command/#", 1, nil).(*paho.SubscribeToken)
		if !token.WaitTimeout(patience) || token.Result()["fluewright/cellar-7/command/#"] != 0x80 {
			t.Errorf("%s subscribed to commands: %v", user, token.Result())
		}
	}
	for _, m := range []struct{ topic, to string }{
		{"fluewright/cellar-7/state", "owner display"},
		{"fluewright/cellar-7/alarm/spillage", "owner display"},
		{"fluewright/cellar-7/telemetry", "owner"},
		{"homie/5/cellar-7/draft/value", "owner"},
		{"fluewright/cellar-7/reply/client-of-display/1", ""}, // it may read no replies at all
		{"fluewright/cellar-7/reply/client-of-owner/1", "owner"},
		{"fluewright/cellar-7/command/live", ""},
		{"fluewright/attic-2/state", ""},
		{"fluewright/cellar-7/state", "owner display"}, // nothing was in between
	} {
		own.Publish(m.topic, 1, false, m.to).WaitTimeout(patience)
		for user := range strings.FieldsSeq(m.to) {
			expect(t, heard[user], m.topic+"="+m.to)
		}
	}
	expect(t, commands, "fluewright/cellar-7/command/live=")
	for _, w := range []struct {
		user, topic string
		may         bool
	}{
		{"owner", "fluewright/cellar-7/command/acknowledge", true},
		{"owner", "fluewright/cellar-7/command/trend", false},
		{"owner", "fluewright/cellar-7/alarm/spillage", false},
		{"owner", "homie/5/cellar-7/draft/value/set", false},
		{"display", "fluewright/cellar-7/command/live", false},
	} {
		c := as(t, b, w.user, "writer-"+w.user)
		before := b.Stats().Refused["topic"]
		c.Publish(w.topic, 0, false, "mine").WaitTimeout(patience)
		mark := as(t, b, "owner", "marker")
		if !w.may {
			for deadline := time.Now().Add(patience); b.Stats().Refused["topic"] == before && time.Now().Before(deadline); {
				time.Sleep(time.Millisecond)
			}
		} else {
			expect(t, commands, w.topic+"=mine")
		}
		mark.Publish("fluewright/cellar-7/command/live", 0, false, "end").WaitTimeout(patience)
		expect(t, commands, "fluewright/cellar-7/command/live=end")
		if got := b.Stats().Refused["topic"] > before; got == w.may {
			t.Errorf("%s writes %s: refused %v", w.user, w.topic, got)
		}
		c.Disconnect(10)
		mark.Disconnect(10)
	}
}

// Replies go to a client identifier: another user may not take it over.
func TestAnothersClientIdentifier(t *testing.T) {
	b := guarded(t, nil)
	got := listen(t, as(t, b, "owner", "phone"), "fluewright/cellar-7/reply/phone/#")
	if _, err := connect(t, b, func(o *paho.ClientOptions) {
		o.SetUsername("display").SetPassword("password-of-display").SetClientID("phone")
	}); err == nil {
		t.Error("another user has it")
	}
	publisher(t, b).Publish("fluewright/cellar-7/reply/phone/1", 1, false, "for the owner").WaitTimeout(patience)
	expect(t, got, "fluewright/cellar-7/reply/phone/1=for the owner")
}

func TestLimits(t *testing.T) {
	b := guarded(t, nil)
	c := as(t, b, "owner", "phone")
	taken := 0
	for i := range 40 {
		filter := fmt.Sprintf("fluewright/cellar-7/alarm/x%d", i)
		token := c.Subscribe(filter, 0, nil).(*paho.SubscribeToken)
		if token.WaitTimeout(patience); token.Result()[filter] != 0x80 {
			taken++
		}
	}
	deep := "fluewright/cellar-7/alarm" + strings.Repeat("/x", 20)
	if token := c.Subscribe(deep, 0, nil).(*paho.SubscribeToken); !token.WaitTimeout(patience) || token.Result()[deep] != 0x80 {
		t.Error("a filter of 23 levels is taken")
	}
	if n := b.Stats().Refused; taken != 32 || n["subscriptions"] != 8 || n["depth"] != 1 {
		t.Errorf("%d subscriptions are taken, counted are %v", taken, n)
	}
	c.Publish("fluewright/cellar-7/command/live", 1, false, make([]byte, 17<<10)).WaitTimeout(patience)
	c.Publish("fluewright/cellar-7/command/live", 1, true, "again and again").WaitTimeout(patience)
	if n := b.Stats().Refused; n["size"] != 1 || n["retain"] != 1 {
		t.Errorf("counted are %v", n)
	}
	// More retained than there is room for is passed on, and the old one is gone.
	own := publisher(t, b)
	for i := range 300 {
		own.Publish(fmt.Sprintf("fluewright/cellar-7/alarm/x%d", i), 1, true, "raised").WaitTimeout(patience)
	}
	if s := b.Stats(); s.Retained != 256 || s.RetainedBytes != 256*len("raised") || s.Refused["retain"] != 45 {
		t.Errorf("%d messages, %d bytes, %v", s.Retained, s.RetainedBytes, s.Refused)
	}
}

// More connections than there is room for do not keep the publisher out.
func TestTooManyConnections(t *testing.T) {
	b := guarded(t, nil)
	for range 50 {
		c, err := net.Dial("tcp", b.Addr())
		if err != nil {
			t.Fatal(err)
		}
		t.Cleanup(func() { _ = c.Close() })
	}
	publisher(t, b)
	for deadline := time.Now().Add(patience); b.Stats().Refused["connections"] != 18; time.Sleep(time.Millisecond) {
		if time.Now().After(deadline) {
			t.Fatalf("%+v", b.Stats())
		}
	}
	if got := b.Stats().Clients; got != 32 {
		t.Errorf("%d connections", got)
	}
}

// A client that floods is heard less, and the others as ever.
func TestAFloodOfOneClient(t *testing.T) {
	b := guarded(t, nil)
	own := publisher(t, b)
	got := make(chan string, 10_000)
	if token := own.Subscribe("fluewright/cellar-7/command/#", 0, func(_ paho.Client, m paho.Message) { got <- string(m.Payload()) }); !token.WaitTimeout(patience) {
		t.Fatal("not subscribed")
	}
	flood := as(t, b, "owner", "flood")
	for range 5000 {
		flood.Publish("fluewright/cellar-7/command/live", 0, false, "flood")
	}
	for deadline := time.Now().Add(patience); b.Stats().Refused["flood"] < 4000; time.Sleep(time.Millisecond) {
		if time.Now().After(deadline) {
			t.Fatalf("%v", b.Stats().Refused)
		}
	}
	as(t, b, "owner", "other").Publish("fluewright/cellar-7/command/live", 1, false, "other").WaitTimeout(patience)
	floods := 0
	for timeout := time.After(patience); ; {
		select {
		case m := <-got:
			if m == "other" {
				if floods > 500 {
					t.Errorf("%d of 5000 came through", floods)
				}
				return
			}
			floods++
		case <-timeout:
			t.Fatal("the other is not heard")
		}
	}
}

// A reader that stops reading, and whose connection stays, holds nobody's alarms up.
func TestASleepingReaderHoldsNothingUp(t *testing.T) {
	b := guarded(t, nil)
	own := publisher(t, b)
	awake := as(t, b, "owner", "awake")
	count := make(chan struct{}, 1000)
	if token := awake.Subscribe("fluewright/#", 1, func(paho.Client, paho.Message) { count <- struct{}{} }); !token.WaitTimeout(patience) {
		t.Fatal("not subscribed")
	}
	sleeper, err := net.Dial("tcp", b.Addr())
	if err != nil {
		t.Fatal(err)
	}
	defer sleeper.Close()
	_ = sleeper.(*net.TCPConn).SetReadBuffer(4096)
	// CONNECT without keep-alive, then SUBSCRIBE to everything with QoS 1.
	hello := "\x00\x04MQTT\x04\xc2\x00\x00\x00\x07sleeper\x00\x05owner\x00\x11password-of-owner"
	wish := "\x00\x01\x00\x0cfluewright/#\x01"
	if _, err := fmt.Fprintf(sleeper, "\x10%c%s\x82%c%s", len(hello), hello, len(wish), wish); err != nil {
		t.Fatal(err)
	}
	answer := make([]byte, 9)
	if _, err := sleeper.Read(answer[:4]); err != nil || answer[3] != 0 {
		t.Fatalf("not connected: %v, %v", answer, err)
	}
	const messages = 400
	payload := make([]byte, 60<<10)
	slowest := time.Duration(0)
	for range messages {
		began := time.Now()
		if !own.Publish("fluewright/cellar-7/telemetry", 1, false, payload).WaitTimeout(patience) {
			t.Fatal("the publisher is held up")
		}
		slowest = max(slowest, time.Since(began))
		// Each is heard before the next: on a busy machine this reader falls behind like the other.
		select {
		case <-count:
		case <-time.After(patience):
			t.Fatal("the other reader is held up")
		}
	}
	if slowest > time.Second {
		t.Errorf("a message took %v", slowest)
	}
	if n := b.Stats().Refused["slow"]; n != 1 {
		t.Errorf("%d readers were too slow", n)
	}
	t.Logf("the slowest message took %v", slowest)
}

// The network beside loopback is reached with a password alone.
func TestFromTheNetwork(t *testing.T) {
	var here string
	addrs, err := net.InterfaceAddrs()
	if err != nil {
		t.Fatal(err)
	}
	for _, a := range addrs {
		if n, ok := a.(*net.IPNet); ok && !n.IP.IsLoopback() && n.IP.To4() != nil {
			here = n.IP.String()
		}
	}
	if here == "" {
		t.Skip("this computer has no network")
	}
	b := guarded(t, func(o *broker.Options) { o.Listen = "0.0.0.0:0" })
	_, port, _ := net.SplitHostPort(b.Addr())
	there := func(o *paho.ClientOptions) {
		o.Servers = nil
		o.AddBroker("tcp://" + net.JoinHostPort(here, port))
	}
	if _, err := connect(t, b, there); err == nil {
		t.Error("somebody came in without a password")
	}
	if _, err := connect(t, b, func(o *paho.ClientOptions) {
		there(o)
		o.SetUsername("owner").SetPassword("password-of-owner")
	}); err != nil {
		t.Error(err)
	}
	// The publisher's password is worth nothing out there.
	if _, err := connect(t, b, func(o *paho.ClientOptions) {
		there(o)
		user, password := b.Credentials()
		o.SetUsername(user).SetPassword(password)
	}); err == nil {
		t.Error("somebody came in as the publisher")
	}
}

func TestTLS(t *testing.T) {
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	template := &x509.Certificate{
		SerialNumber: big.NewInt(1), Subject: pkix.Name{CommonName: "broker"}, NotBefore: time.Now().Add(-time.Hour),
		NotAfter: time.Now().Add(time.Hour), IPAddresses: []net.IP{net.IPv4(127, 0, 0, 1)}, IsCA: true, BasicConstraintsValid: true,
	}
	der, err := x509.CreateCertificate(rand.Reader, template, template, &key.PublicKey, key)
	if err != nil {
		t.Fatal(err)
	}
	known := x509.NewCertPool()
	leaf, err := x509.ParseCertificate(der)
	if err != nil {
		t.Fatal(err)
	}
	known.AddCert(leaf)
	b := guarded(t, func(o *broker.Options) {
		o.TLS = &tls.Config{MinVersion: tls.VersionTLS12, Certificates: []tls.Certificate{{Certificate: [][]byte{der}, PrivateKey: key}}}
	})
	if !strings.HasPrefix(b.URL(), "ssl://") || !strings.HasPrefix(b.Own(), "tcp://127.0.0.1:") {
		t.Errorf("it is at %s and %s", b.URL(), b.Own())
	}
	login := func(o *paho.ClientOptions) { o.SetUsername("owner").SetPassword("password-of-owner") }
	c, err := connect(t, b, func(o *paho.ClientOptions) {
		login(o)
		o.SetTLSConfig(&tls.Config{RootCAs: known})
	})
	if err != nil {
		t.Fatal(err)
	}
	got := listen(t, c, "fluewright/#")
	publisher(t, b).Publish("fluewright/cellar-7/state", 1, false, "well").WaitTimeout(patience)
	expect(t, got, "fluewright/cellar-7/state=well")
	for name, change := range map[string]func(*paho.ClientOptions){
		"without TLS": func(o *paho.ClientOptions) {
			o.Servers = nil
			o.AddBroker("tcp://" + b.Addr())
		},
		"and knows another CA": func(o *paho.ClientOptions) { o.SetTLSConfig(&tls.Config{RootCAs: x509.NewCertPool()}) },
	} {
		if _, err := connect(t, b, func(o *paho.ClientOptions) { login(o); change(o) }); err == nil {
			t.Errorf("connected who comes %s", name)
		}
	}
	for deadline := time.Now().Add(patience); b.Stats().Refused["tls"] != 2; time.Sleep(time.Millisecond) {
		if time.Now().After(deadline) {
			t.Fatalf("%v", b.Stats().Refused)
		}
	}
}

// A killed program's standing alarms are there again before its publisher has said a word,
// and what was over is not.
func TestStandingAlarmsOutliveAKill(t *testing.T) {
	dir := t.TempDir()
	const alarm = "fluewright/cellar-7/alarm/spillage"
	keeping := func(o *broker.Options) {
		o.Retained = append(o.Retained, "fluewright/cellar-7/alarm/overheat/flue")
		o.Keep = broker.Keep{Dir: dir, Which: func(_ string, payload []byte) string {
			if string(payload) == "raised" {
				return "raised"
			}
			return ""
		}}
	}
	kept := func(part string, there bool) {
		t.Helper()
		for deadline := time.Now().Add(patience); ; time.Sleep(time.Millisecond) {
			text, _ := os.ReadFile(filepath.Join(dir, broker.FileName))
			if len(text) > 0 && strings.Contains(string(text), part) == there {
				return
			}
			if time.Now().After(deadline) {
				t.Fatalf("the file is %q", text)
			}
		}
	}
	first := guarded(t, keeping)
	own := publisher(t, first)
	own.Publish("fluewright/cellar-7/availability", 1, true, "online").WaitTimeout(patience)
	own.Publish("fluewright/cellar-7/alarm/overheat/flue", 1, true, "normal").WaitTimeout(patience)
	own.Publish(alarm, 1, true, "raised").WaitTimeout(patience)
	kept("spillage", true)
	// The first one is not told to end: a kill would not tell it either.
	second := guarded(t, keeping)
	got := listen(t, as(t, second, "owner", "phone"), "fluewright/#")
	expect(t, got, alarm+"=raised (retained)")
	own = publisher(t, second)
	own.Publish(alarm, 1, true, "normal").WaitTimeout(patience)
	expect(t, got, alarm+"=normal") // and nothing else was there
	kept("spillage", false)
	third := guarded(t, keeping)
	got = listen(t, as(t, third, "owner", "phone"), "fluewright/#")
	publisher(t, third).Publish("fluewright/cellar-7/state", 1, false, "end").WaitTimeout(patience)
	expect(t, got, "fluewright/cellar-7/state=end")
}

// FuzzPackets: whatever a stranger sends, before or after a good CONNECT, the broker goes on.
func FuzzPackets(f *testing.F) {
	hello := "\x10\x2c\x00\x04MQTT\x04\xc2\x00\x3c\x00\x07sleeper\x00\x05owner\x00\x0epassword-wrong"
	for _, s := range []string{
		hello, "\x10\xff\xff\xff\x7f", "\x82\x05\x00\x01\x00\x00\x01", "\x30\x02\x00\x00", "\x32\x04\x00\x01a\x00", "\xc0\x00", "\xe0\x00",
		"\xf0\x02\x18\x00", "\x62\x02\x00\x01", "\x10\x0e\x00\x04MQTT\x05\x02\x00\x3c\x00\x00\x00\x00", "\xa2\x05\x00\x01\x00\x01#",
		"\x82\x0b\x00\x01\x00\x06$share\x01", "\x82\x0f\x00\x02\x00\x0afluewright\x02", "\x30\x0e\x00\x0cfluewright/+", "GET / HTTP/1.1\r\n\r\n",
	} {
		f.Add([]byte(s), true)
		f.Add([]byte(s), false)
	}
	var said strings.Builder
	b, err := broker.Start(broker.Options{
		Listen: "127.0.0.1:0", Root: "fluewright/cellar-7/", Log: slog.New(slog.NewTextHandler(&said, &slog.HandlerOptions{Level: slog.LevelError})),
	})
	if err != nil {
		f.Fatal(err)
	}
	f.Cleanup(func() { _ = b.Close() })
	good := []byte("\x10\x10\x00\x04MQTT\x04\x02\x00\x3c\x00\x04good")
	f.Fuzz(func(t *testing.T, bytes []byte, after bool) {
		c, err := net.Dial("tcp", b.Addr())
		if err != nil {
			t.Fatal(err)
		}
		defer c.Close()
		if after {
			bytes = append(append([]byte(nil), good...), bytes...)
		}
		_, _ = c.Write(bytes) // it may be thrown out in the middle
		_ = c.(*net.TCPConn).CloseWrite()
		_ = c.SetReadDeadline(time.Now().Add(patience))
		for buffer := make([]byte, 1024); err == nil; {
			_, err = c.Read(buffer)
		}
		if e, ok := err.(net.Error); ok && e.Timeout() {
			t.Error("the connection does not end")
		}
		honest, err := net.Dial("tcp", b.Addr())
		if err != nil {
			t.Fatal(err)
		}
		defer honest.Close()
		_ = honest.SetDeadline(time.Now().Add(patience))
		answer := make([]byte, 4)
		if _, err := honest.Write([]byte("\x10\x10\x00\x04MQTT\x04\x02\x00\x3c\x00\x04well")); err != nil {
			t.Fatal(err)
		}
		if _, err := honest.Read(answer); err != nil || answer[0] != 0x20 || answer[3] != 0 {
			t.Errorf("an honest client is answered %x, %v", answer, err)
		}
		if said.Len() > 0 {
			t.Errorf("the library stumbled: %s", said.String())
		}
	})
}
