package main_test

import (
	"bytes"
	"context"
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/pem"
	"fmt"
	"io"
	"log/slog"
	"math/big"
	"net"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"fluewright/analysis/alarm"
	"fluewright/analysis/frame"
	"fluewright/daemon/internal/app"
	"fluewright/daemon/internal/config"
	"fluewright/daemon/internal/porttest"
	"fluewright/daemon/internal/status"
	virtual "fluewright/sensors/bench"
)

// authority signs certificates.
type authority struct {
	t    *testing.T
	dir  string
	cert *x509.Certificate
	key  *ecdsa.PrivateKey
}

func newAuthority(t *testing.T, dir, name string) *authority {
	t.Helper()
	a := &authority{t: t, dir: dir}
	a.cert, a.key = a.issue(name, func(c *x509.Certificate) { c.IsCA, c.BasicConstraintsValid = true, true })
	return a
}

// issue writes <name>.pem and <name>-key.pem, of 127.0.0.1 and an hour unless changed.
func (a *authority) issue(name string, change func(*x509.Certificate)) (*x509.Certificate, *ecdsa.PrivateKey) {
	a.t.Helper()
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		a.t.Fatal(err)
	}
	c := &x509.Certificate{
		SerialNumber: big.NewInt(time.Now().UnixNano()), Subject: pkix.Name{CommonName: name},
		NotBefore: time.Now().Add(-2 * time.Hour), NotAfter: time.Now().Add(time.Hour),
	}
	change(c)
	parent, signer := a.cert, a.key
	if parent == nil {
		parent, signer = c, key
	}
	der, err := x509.CreateCertificate(rand.Reader, c, parent, &key.PublicKey, signer)
	if err != nil {
		a.t.Fatal(err)
	}
	pkcs8, err := x509.MarshalPKCS8PrivateKey(key)
	if err != nil {
		a.t.Fatal(err)
	}
	writeFile(a.t, a.at(name+".pem"), string(pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: der})))
	writeFile(a.t, a.at(name+"-key.pem"), string(pem.EncodeToMemory(&pem.Block{Type: "PRIVATE KEY", Bytes: pkcs8})))
	issued, err := x509.ParseCertificate(der)
	if err != nil {
		a.t.Fatal(err)
	}
	return issued, key
}

func (a *authority) at(file string) string { return filepath.Join(a.dir, file) }

// counting is a TCP line that counts how often somebody comes.
func counting(t *testing.T, to string) (at string, comers *atomic.Int64) {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	comers = &atomic.Int64{}
	var all sync.WaitGroup
	all.Go(func() {
		for {
			near, err := l.Accept()
			if err != nil {
				return
			}
			comers.Add(1)
			far, err := net.Dial("tcp", to)
			if err != nil {
				_ = near.Close()
				continue
			}
			all.Go(func() { _, _ = io.Copy(far, near); _ = far.Close() })
			all.Go(func() { _, _ = io.Copy(near, far); _ = near.Close() })
		}
	})
	t.Cleanup(func() { _ = l.Close(); all.Wait() })
	return l.Addr().String(), comers
}

// watched is a monitor in this process, at a furnace on the bench.
type watched struct {
	t    *testing.T
	mu   sync.Mutex
	log  bytes.Buffer
	last *status.Status
	at   app.Addresses
	stop func()
}

// Write takes the log.
func (w *watched) Write(b []byte) (int, error) {
	w.mu.Lock()
	defer w.mu.Unlock()
	return w.log.Write(b)
}

func watch(t *testing.T, clock *virtual.Clock, state string, change func(*config.Config)) *watched {
	t.Helper()
	cfg, err := config.Demo()
	if err != nil {
		t.Fatal(err)
	}
	cfg.Web.Listen, cfg.MQTT.Embedded = "127.0.0.1:0", ""
	change(cfg)
	w := &watched{t: t}
	ctx, cancel := context.WithCancel(context.Background())
	done, ready := make(chan error, 1), make(chan struct{})
	go func() {
		done <- app.Run(ctx, cfg, app.Options{
			Version: "1.0", Clock: clock, State: state, Log: slog.New(slog.NewTextHandler(w, nil)),
			Ready: func(a app.Addresses) { w.at = a; close(ready) },
			Tick: func(s *status.Status) {
				w.mu.Lock()
				defer w.mu.Unlock()
				w.last = s
			},
		})
	}()
	w.stop = sync.OnceFunc(func() {
		cancel()
		if err := <-done; err != nil {
			t.Error(err)
		}
	})
	t.Cleanup(w.stop)
	select {
	case <-ready:
	case err := <-done:
		done <- err
		t.Fatal(err)
	}
	return w
}

func (w *watched) said() string {
	w.mu.Lock()
	defer w.mu.Unlock()
	return w.log.String()
}

func (w *watched) latest() *status.Status {
	w.mu.Lock()
	defer w.mu.Unlock()
	return w.last
}

// until waits for something, and fails with the log.
func (w *watched) until(what string, is func() bool) {
	w.t.Helper()
	for deadline := time.Now().Add(patience); !is(); time.Sleep(10 * time.Millisecond) {
		if time.Now().After(deadline) {
			w.t.Fatalf("not yet: %s\n%s", what, w.said())
		}
	}
}

func impaired(s *status.Status) alarm.State {
	if s == nil {
		return alarm.Unjudged
	}
	i := slices.IndexFunc(s.Assessment.Alarms, func(a alarm.Status) bool { return a.Key.Name == alarm.MonitorImpaired })
	return s.Assessment.Alarms[i].State
}

// A broker that is not the right one, or does not know us: the monitor says what is wrong in
// words, tries again more and more rarely, measures on, and after half an hour raises that
// nothing is delivered.
func TestABrokerThatDoesNotFit(t *testing.T) {
	if testing.Short() {
		t.Skip("half an hour of the furnace's time for each")
	}
	needRealParts(t, "mosquitto", "mosquitto_passwd", "mosquitto_sub")
	dir := t.TempDir()
	ca, other := newAuthority(t, dir, "ca"), newAuthority(t, dir, "other")
	here := func(c *x509.Certificate) { c.IPAddresses = []net.IP{net.IPv4(127, 0, 0, 1)} }
	ca.issue("right", here)
	ca.issue("expired", func(c *x509.Certificate) { here(c); c.NotAfter = time.Now().Add(-time.Hour) })
	ca.issue("early", func(c *x509.Certificate) { here(c); c.NotBefore = time.Now().Add(time.Minute) })
	ca.issue("elsewhere", func(c *x509.Certificate) { c.DNSNames = []string{"broker.example"} })
	output(t, "mosquitto_passwd", "-b", "-c", ca.at("users"), "furnace", "s3cret-of-furnace")
	writeFile(t, ca.at("wrong"), "s3cret-of-another\n")
	writeFile(t, ca.at("password"), "s3cret-of-furnace\n")

	clock := virtual.NewClock(600)
	house, err := virtual.New(virtual.Config{Seed: 1, Clock: clock, Scenario: virtual.Night()})
	if err != nil {
		t.Fatal(err)
	}
	if err := house.Register(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = house.Close() })

	for _, c := range []struct {
		name, certificate, more, ca, password string
		words                                 []string
	}{
		{"wrong CA", "right", "", other.at("other.pem"), "password", []string{"certificate", "unknown authority"}},
		{"expired certificate", "expired", "", ca.at("ca.pem"), "password", []string{"certificate has expired"}},
		{"certificate not valid yet", "early", "", ca.at("ca.pem"), "password", []string{"certificate", "not yet valid"}},
		{"wrong host name", "elsewhere", "", ca.at("ca.pem"), "password", []string{"certificate", "127.0.0.1"}},
		{"wrong password", "right", "", ca.at("ca.pem"), "wrong", []string{"not authorized"}},
		{"client certificate demanded", "right", "require_certificate true\n", ca.at("ca.pem"), "password", []string{"certificate required"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			address := demanding(t, ca, c.certificate, c.more)
			line, comers := counting(t, address)
			w := watch(t, clock, "", func(cfg *config.Config) {
				cfg.MQTT.Broker, cfg.MQTT.CAFile = "ssl://"+line, c.ca
				cfg.MQTT.User, cfg.MQTT.PasswordFile = "furnace", ca.at(c.password)
			})
			w.until("it is raised that nothing is delivered", func() bool { return impaired(w.latest()) == alarm.Raised })
			said := strings.ToLower(w.said())
			for _, word := range c.words {
				if !strings.Contains(said, strings.ToLower(word)) {
					t.Errorf("%q is not in what is said:\n%s", word, said)
				}
			}
			if strings.Contains(said, "s3cret") {
				t.Errorf("a password is said:\n%s", said)
			}
			// Measured on: frames of half an hour, two a second of the furnace's time less those that a
			// busy machine misses, and the draft is seen.
			s := w.latest()
			if in := s.Frame.Inputs[frame.Draft]; in.Quality != frame.Good || s.Seq < 30*60*2/5 {
				t.Errorf("%d frames at %v, the draft is %v", s.Seq, s.Frame.At, in.Quality)
			}
			// In these few real seconds; the next attempt may be 40 s away.
			if n := comers.Load(); n < 1 || n > 20 {
				t.Errorf("it tried %d times", n)
			}
			if !strings.Contains(get(t, w.at.Web+"metrics"), "fluewright_mqtt_connected 0\n") {
				t.Error("it says that it is connected")
			}
		})
	}
	t.Run("and one that fits", func(t *testing.T) {
		ca.issue("site", func(*x509.Certificate) {})
		address := demanding(t, ca, "right", "require_certificate true\n")
		w := watch(t, clock, "", func(cfg *config.Config) {
			cfg.MQTT.Broker, cfg.MQTT.CAFile, cfg.MQTT.Homie = "ssl://"+address, ca.at("ca.pem"), true
			cfg.MQTT.User, cfg.MQTT.PasswordFile = "furnace", ca.at("password")
			cfg.MQTT.CertificateFile, cfg.MQTT.KeyFile = ca.at("site.pem"), ca.at("site-key.pem")
		})
		w.until("connected", func() bool { return strings.Contains(get(t, w.at.Web+"metrics"), "fluewright_mqtt_connected 1\n") })
		for topic, want := range map[string]string{"fluewright/demo/availability": "online", "homie/5/demo/$state": "ready"} {
			args := at(address, "--cafile", ca.at("ca.pem"), "--cert", ca.at("site.pem"), "--key", ca.at("site-key.pem"),
				"-u", "furnace", "-P", "s3cret-of-furnace", "-t", topic, "-C", "1", "-W", "10")
			w.until(topic+" is "+want, func() bool { return strings.Contains(output(t, "mosquitto_sub", args...), want) })
		}
	})
}

// demanding starts a mosquitto with users, and with a certificate of the authority's; it returns
// its address.
func demanding(t *testing.T, ca *authority, certificate, more string) string {
	t.Helper()
	address := porttest.Free(t).String()
	conf := filepath.Join(t.TempDir(), "mosquitto.conf")
	writeFile(t, conf, fmt.Sprintf("listener %s 127.0.0.1\nuser root\nallow_anonymous false\npassword_file %s\ncafile %s\ncertfile %s\nkeyfile %s\n%s",
		address[strings.LastIndex(address, ":")+1:], ca.at("users"), ca.at("ca.pem"), ca.at(certificate+".pem"), ca.at(certificate+"-key.pem"), more))
	start(t, "mosquitto", "-c", conf)
	reachable(t, address)
	return address
}
