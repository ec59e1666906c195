package mqtt

import (
	"bufio"
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
	"math/big"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"fluewright/analysis/alarm"
	"fluewright/analysis/frame"
	"fluewright/daemon/internal/porttest"
	"fluewright/daemon/internal/status/statustest"
)

// line is a TCP line between a publisher and its broker that a test can break.
type line struct {
	listener net.Listener
	to       string
	mu       sync.Mutex
	conns    []net.Conn
	mutes    []*atomic.Bool // of each connection: what the broker answers does not arrive
	// deaf is what we say likewise, of all connections; held keeps new ones out.
	deaf, held atomic.Bool
}

func lay(t *testing.T, to string) *line {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	p := &line{listener: l, to: to}
	var wg sync.WaitGroup
	wg.Go(func() { p.serve(&wg) })
	t.Cleanup(func() { _ = l.Close(); p.breakAll(); wg.Wait() })
	return p
}

func (l *line) url() string { return "tcp://" + l.listener.Addr().String() }

func (l *line) serve(wg *sync.WaitGroup) {
	for {
		near, err := l.listener.Accept()
		if err != nil {
			return
		}
		if l.held.Load() {
			_ = near.Close()
			continue
		}
		far, err := net.Dial("tcp", l.to)
		if err != nil {
			_ = near.Close()
			continue
		}
		mute := new(atomic.Bool)
		l.mu.Lock()
		l.conns, l.mutes = append(l.conns, near, far), append(l.mutes, mute)
		l.mu.Unlock()
		down := writer(func(b []byte) (int, error) {
			if mute.Load() {
				return len(b), nil
			}
			return near.Write(b)
		})
		up := writer(func(b []byte) (int, error) {
			if l.deaf.Load() {
				return len(b), nil
			}
			return far.Write(b)
		})
		wg.Go(func() { _, _ = io.Copy(up, near); _ = far.Close() })
		wg.Go(func() { _, _ = io.Copy(down, far); _ = near.Close() })
	}
}

type writer func([]byte) (int, error)

func (w writer) Write(b []byte) (int, error) { return w(b) }

// silence lets nothing more of what the broker says through the present connections.
func (l *line) silence() {
	l.mu.Lock()
	defer l.mu.Unlock()
	for _, mute := range l.mutes {
		mute.Store(true)
	}
}

// breakAll cuts what is connected, as a power cut at the router would.
func (l *line) breakAll() {
	l.mu.Lock()
	defer l.mu.Unlock()
	for _, c := range l.conns {
		_ = c.Close()
	}
	l.conns, l.mutes = nil, nil
}

// real returns the path of a program that a test needs, or skips; with FLUEWRIGHT_REAL
// a missing one is a failure.
func real(t *testing.T, name string) string {
	t.Helper()
	for _, path := range []string{name, "/usr/sbin/" + name} {
		if found, err := exec.LookPath(path); err == nil {
			return found
		}
	}
	if os.Getenv("FLUEWRIGHT_REAL") == "1" {
		t.Fatalf("%s is not installed", name)
	}
	t.Skipf("%s is not installed", name)
	return ""
}

// mosquitto starts a real broker and returns its address.
func mosquitto(t *testing.T, extra string) string {
	t.Helper()
	program := real(t, "mosquitto")
	addr := porttest.Free(t)
	if extra == "" {
		extra = "allow_anonymous true\n"
	}
	serve(t, program, addr.Port, "persistence false\n"+extra)
	return addr.String()
}

// served is a broker that runs.
type served struct {
	*os.Process
	gone chan struct{}
	said *bytes.Buffer // once it is gone
}

// kill ends it at once.
func (s *served) kill() {
	_ = s.Kill()
	<-s.gone
}

// serve runs a real broker at a port.
func serve(t *testing.T, program string, port int, settings string) *served {
	t.Helper()
	conf := filepath.Join(t.TempDir(), "mosquitto.conf")
	text := fmt.Sprintf("listener %d 127.0.0.1\nuser root\n%s", port, settings)
	if err := os.WriteFile(conf, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	cmd := exec.Command(program, "-v", "-c", conf)
	log, err := cmd.StderrPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	s := &served{cmd.Process, make(chan struct{}), &bytes.Buffer{}}
	ready := make(chan bool, 1)
	go func() {
		defer close(s.gone)
		lines := bufio.NewScanner(log)
		for lines.Scan() {
			s.said.WriteString(lines.Text() + "\n")
			if strings.Contains(lines.Text(), "running") {
				select {
				case ready <- true:
				default:
				}
			}
		}
		_ = cmd.Wait()
		close(ready)
	}()
	t.Cleanup(s.kill)
	select {
	case ok := <-ready:
		if !ok {
			t.Fatalf("mosquitto does not start:\n%s", s.said)
		}
	case <-time.After(patience):
		t.Fatal("mosquitto does not get ready")
	}
	return s
}

// TestOutage breaks the line to a real broker: it tells the subscribers that we are
// lost, and what happened meanwhile arrives afterwards, in order.
func TestOutage(t *testing.T) {
	addr := mosquitto(t, "")
	l := lay(t, addr)
	r := subscribe(t, "tcp://"+addr, "fluewright/#")
	p := start(t, options(l.url()))
	s := statustest.Burning()
	p.Offer(s)
	r.until(t, "online", availability("online"))
	r.until(t, "the first state", func(topic string, _ map[string]any) bool { return strings.HasSuffix(topic, "/state") })

	l.breakAll()
	r.until(t, "lost, by the last will", availability("lost"))
	for range 3 {
		s = statustest.After(s, 5*time.Second)
		statustest.Change(s, alarm.Spillage, frame.Count, alarm.Raised, -2, 0)
		p.Offer(s)
		s = statustest.After(s, 5*time.Second)
		statustest.Change(s, alarm.Spillage, frame.Count, alarm.Normal, 8, 0)
		p.Offer(s)
	}
	var order []string
	ids := make(map[any]bool)
	r.until(t, "six changes of spillage, in order", func(topic string, body map[string]any) bool {
		if strings.HasSuffix(topic, "/event") && !ids[body["id"]] {
			ids[body["id"]] = true
			order = append(order, fmt.Sprint(body["data"].(map[string]any)["state"]))
		}
		return len(order) == 6
	})
	if got := strings.Join(order, " "); got != "raised cleared raised cleared raised cleared" {
		t.Errorf("events came as %s", got)
	}
	if got := p.Stats(); got.Connects < 2 || !got.Connected || got.Dropped != 0 {
		t.Errorf("stats %+v", got)
	}
}

// TestNothingLeavesUnacknowledged lets a broker take messages and answer nothing.
func TestNothingLeavesUnacknowledged(t *testing.T) {
	b := startBroker(t)
	l := lay(t, b.Addr())
	o := options(l.url())
	o.User, o.Password = b.Credentials()
	p := start(t, o)
	r := subscribe(t, b.URL(), "fluewright/#")
	s := statustest.Burning()
	p.Offer(s)
	r.until(t, "the first state", func(topic string, _ map[string]any) bool { return strings.HasSuffix(topic, "/state") })

	l.silence()
	s = statustest.After(s, time.Second)
	statustest.Change(s, alarm.Overheat, frame.Flue, alarm.Raised, 705, 700)
	p.Offer(s)
	raised := func(topic string, body map[string]any) bool {
		return strings.HasSuffix(topic, "/event") && body["subject"] == "overheat/flue"
	}
	_, first := r.until(t, "the event, which the broker took", raised)
	if p.Stats().Pending == 0 {
		t.Error("an event left the queue without an acknowledgement")
	}
	l.breakAll()
	_, again := r.until(t, "the event again", raised)
	if first["id"] != again["id"] {
		t.Errorf("the repeat has the id %v, not %v", again["id"], first["id"])
	}
	if p.Stats().Failed == 0 {
		t.Error("the failure is not counted")
	}
}

// TestALateWillIsRefuted: the will of a former connection says that we are lost while
// we are not.
func TestALateWillIsRefuted(t *testing.T) {
	addr := mosquitto(t, "")
	r := subscribe(t, "tcp://"+addr, "fluewright/cellar-7/availability")
	start(t, options("tcp://"+addr))
	r.until(t, "online", availability("online"))
	for range 2 {
		r.client.Publish("fluewright/cellar-7/availability", 1, true, `{"state":"lost","boot":"b00t"}`)
		r.until(t, "lost", availability("lost"))
		r.until(t, "online again", availability("online"))
	}
}

// TestTheEndIsQuick ends a publisher whose broker is well, is away, or has stopped reading.
func TestTheEndIsQuick(t *testing.T) {
	b := startBroker(t)
	deaf, err := net.Listen("tcp", "127.0.0.1:0") // accepts in the kernel, never answers
	if err != nil {
		t.Fatal(err)
	}
	defer deaf.Close()
	frozen := lay(t, b.Addr())
	for _, tt := range []struct {
		name, url string
		connects  bool
		freezes   bool
	}{
		{"a broker that is well", b.URL(), true, false},
		{"a broker that answers no more", frozen.url(), true, true},
		{"a broker that never answers", "tcp://" + deaf.Addr().String(), false, false},
		{"no broker", "tcp://127.0.0.1:1", false, false},
	} {
		t.Run(tt.name, func(t *testing.T) {
			o := options(tt.url)
			o.User, o.Password = b.Credentials()
			p, err := New(o)
			if err != nil {
				t.Fatal(err)
			}
			r := subscribe(t, b.URL(), "fluewright/cellar-7/availability")
			ctx, cancel := context.WithCancel(context.Background())
			ended := make(chan error, 1)
			go func() { ended <- p.Run(ctx) }()
			p.Offer(statustest.Burning())
			if tt.connects {
				r.until(t, "online", availability("online"))
			}
			if tt.freezes {
				frozen.silence()
			}
			began := time.Now()
			cancel()
			if err := <-ended; err != nil {
				t.Error(err)
			}
			// Measured at 10 ms and 310 ms; a busy machine may take longer, a write that
			// waits for its own time limit takes 10 s.
			if took := time.Since(began); took > 3*leave {
				t.Errorf("the end took %v", took)
			}
			if tt.connects && !tt.freezes {
				r.until(t, "offline, said by ourselves", availability("offline"))
			}
		})
	}
}

// TestOfferNeverWaits floods a publisher that has no broker.
func TestOfferNeverWaits(t *testing.T) {
	p := start(t, options("tcp://127.0.0.1:1"))
	s := statustest.Burning()
	const rounds = 5000
	for range rounds {
		s = statustest.After(s, time.Second)
		statustest.Change(s, alarm.Spillage, frame.Count, alarm.Raised, -2, 0)
		p.Offer(s)
	}
	got := p.Stats()
	most := limits[events] + limits[telemetry] + len(s.Assessment.Alarms) + 1
	if got.Pending > most {
		t.Errorf("%d messages wait, want at most %d", got.Pending, most)
	}
	if got.Dropped < rounds-uint64(limits[events]) {
		t.Errorf("%d dropped messages are counted", got.Dropped)
	}
}

// TestTLS reaches a real broker over TLS with user and password, and refuses one whose
// certificate another CA signed.
func TestTLS(t *testing.T) {
	dir := t.TempDir()
	at := func(name string) string { return filepath.Join(dir, name) }
	certificate(t, at("ca.pem"), at("key.pem"))
	certificate(t, at("other.pem"), at("other-key.pem"))
	if out, err := exec.Command(real(t, "mosquitto_passwd"), "-b", "-c", at("users"), "furnace", "s3cret").CombinedOutput(); err != nil {
		t.Fatalf("%v: %s", err, out)
	}
	addr := mosquitto(t, fmt.Sprintf("certfile %s\nkeyfile %s\npassword_file %s\nallow_anonymous false\n", at("ca.pem"), at("key.pem"), at("users")))
	refused := func(ca, password string) error {
		o := options("ssl://" + addr)
		o.CAFile, o.User, o.Password = at(ca), "furnace", password
		p, err := New(o)
		if err != nil {
			t.Fatal(err)
		}
		ctx, cancel := context.WithTimeout(t.Context(), patience)
		defer cancel()
		_, err = p.session(ctx)
		return err
	}
	if err := refused("other.pem", "s3cret"); err == nil || !strings.Contains(err.Error(), "certificate") {
		t.Errorf("another CA: %v", err)
	}
	if err := refused("ca.pem", "wrong"); err == nil || !strings.Contains(strings.ToLower(err.Error()), "not authorized") {
		t.Errorf("a wrong password: %v", err)
	}
	o := options("ssl://" + addr)
	o.CAFile, o.User, o.Password = at("ca.pem"), "furnace", "s3cret"
	p := start(t, o)
	p.Offer(statustest.Burning())
	sub := exec.Command(real(t, "mosquitto_sub"), "-h", "127.0.0.1", "-p", addr[strings.LastIndex(addr, ":")+1:], "--cafile", at("ca.pem"),
		"-u", "furnace", "-P", "s3cret", "-t", "fluewright/cellar-7/alarm/spillage", "-C", "1", "-W", "10")
	if out, err := sub.CombinedOutput(); err != nil || !strings.Contains(string(out), `"state":"normal"`) {
		t.Errorf("mosquitto_sub over TLS: %v: %s", err, out)
	}
}

// certificate writes a self-signed certificate for 127.0.0.1 and its key.
func certificate(t *testing.T, cert, key string) {
	t.Helper()
	private, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	template := &x509.Certificate{
		SerialNumber: big.NewInt(1), Subject: pkix.Name{CommonName: "test broker"},
		NotBefore: time.Now().Add(-time.Hour), NotAfter: time.Now().Add(time.Hour),
		IPAddresses: []net.IP{net.IPv4(127, 0, 0, 1)}, IsCA: true, BasicConstraintsValid: true,
	}
	der, err := x509.CreateCertificate(rand.Reader, template, template, &private.PublicKey, private)
	if err != nil {
		t.Fatal(err)
	}
	pkcs8, err := x509.MarshalPKCS8PrivateKey(private)
	if err != nil {
		t.Fatal(err)
	}
	for file, block := range map[string]*pem.Block{cert: {Type: "CERTIFICATE", Bytes: der}, key: {Type: "PRIVATE KEY", Bytes: pkcs8}} {
		if err := os.WriteFile(file, pem.EncodeToMemory(block), 0o600); err != nil {
			t.Fatal(err)
		}
	}
}

// TestClientCertificate shows a broker who we are, which lets nobody else in; topics begin as
// they are told to.
func TestClientCertificate(t *testing.T) {
	dir := t.TempDir()
	at := func(name string) string { return filepath.Join(dir, name) }
	certificate(t, at("ca.pem"), at("key.pem"))
	certificate(t, at("own.pem"), at("own-key.pem"))
	certificate(t, at("other.pem"), at("other-key.pem"))
	addr := mosquitto(t, fmt.Sprintf("certfile %s\nkeyfile %s\ncafile %s\nrequire_certificate true\nallow_anonymous true\n", at("ca.pem"), at("key.pem"), at("own.pem")))
	as := func(cert, key string) Options {
		o := options("ssl://" + addr)
		o.CAFile, o.CertFile, o.KeyFile, o.Root = at("ca.pem"), cert, key, "service/furnaces"
		return o
	}
	for _, who := range [][2]string{{"", ""}, {at("other.pem"), at("other-key.pem")}} {
		p, err := New(as(who[0], who[1]))
		if err != nil {
			t.Fatal(err)
		}
		ctx, cancel := context.WithTimeout(t.Context(), patience)
		if up, err := p.session(ctx); up || err == nil {
			t.Errorf("%q is let in", who[0])
		}
		cancel()
	}
	if _, err := New(as(at("own.pem"), at("other-key.pem"))); err == nil {
		t.Error("a certificate goes with another's key")
	}
	p := start(t, as(at("own.pem"), at("own-key.pem")))
	p.Offer(statustest.Burning())
	sub := exec.Command(real(t, "mosquitto_sub"), "-h", "127.0.0.1", "-p", addr[strings.LastIndex(addr, ":")+1:], "--cafile", at("ca.pem"),
		"--cert", at("own.pem"), "--key", at("own-key.pem"), "-t", "service/furnaces/cellar-7/alarm/spillage", "-C", "1", "-W", "10")
	if out, err := sub.CombinedOutput(); err != nil || !strings.Contains(string(out), `"state":"normal"`) {
		t.Errorf("mosquitto_sub with a certificate: %v: %s", err, out)
	}
}
