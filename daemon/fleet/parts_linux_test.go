package main

import (
	"bufio"
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/json"
	"encoding/pem"
	"fmt"
	"io"
	"io/fs"
	"math/big"
	"net"
	"net/http"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"

	"fluewright/daemon/internal/porttest"
)

// needs skips a test whose programs are not on this computer, and fails it where
// FLUEWRIGHT_REAL says that they have to be.
func needs(t *testing.T, programs ...string) {
	t.Helper()
	if os.Getenv("FLUEWRIGHT_EMULATED") != "" {
		t.Skip("real brokers are for real machines")
	}
	for _, p := range programs {
		if _, err := exec.LookPath(p); err != nil {
			if os.Getenv("FLUEWRIGHT_REAL") == "1" {
				t.Fatalf("%s is missing", p)
			}
			t.Skipf("%s is missing", p)
		}
	}
}

// authority signs certificates, which lie in a directory.
type authority struct {
	t    *testing.T
	dir  string
	cert *x509.Certificate
	key  *ecdsa.PrivateKey
	n    int64
}

func newAuthority(t *testing.T) *authority {
	t.Helper()
	a := &authority{t: t, dir: t.TempDir()}
	a.cert = &x509.Certificate{
		Subject: pkix.Name{CommonName: "test desk"}, IsCA: true, BasicConstraintsValid: true, KeyUsage: x509.KeyUsageCertSign,
	}
	a.cert, a.key = a.sign("ca", a.cert)
	return a
}

func (a *authority) file(name string) string { return filepath.Join(a.dir, name) }

// sign writes NAME.pem and NAME.key.
func (a *authority) sign(name string, c *x509.Certificate) (*x509.Certificate, *ecdsa.PrivateKey) {
	a.t.Helper()
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		a.t.Fatal(err)
	}
	a.n++
	c.SerialNumber, c.NotBefore, c.NotAfter = big.NewInt(a.n), time.Now().Add(-time.Hour), time.Now().Add(24*time.Hour)
	parent, signer := a.cert, a.key
	if signer == nil {
		parent, signer = c, key
	}
	der, err := x509.CreateCertificate(rand.Reader, c, parent, &key.PublicKey, signer)
	if err != nil {
		a.t.Fatal(err)
	}
	private, err := x509.MarshalPKCS8PrivateKey(key)
	if err != nil {
		a.t.Fatal(err)
	}
	for file, block := range map[string]*pem.Block{name + ".pem": {Type: "CERTIFICATE", Bytes: der}, name + ".key": {Type: "PRIVATE KEY", Bytes: private}} {
		if err := os.WriteFile(a.file(file), pem.EncodeToMemory(block), 0o600); err != nil {
			a.t.Fatal(err)
		}
	}
	signed, err := x509.ParseCertificate(der)
	if err != nil {
		a.t.Fatal(err)
	}
	return signed, key
}

// client makes a certificate for whoever connects.
func (a *authority) client(name string) {
	a.sign(name, &x509.Certificate{Subject: pkix.Name{CommonName: name}, ExtKeyUsage: []x509.ExtKeyUsage{x509.ExtKeyUsageClientAuth}})
}

// broker is a real mosquitto, which asks everybody for a certificate.
type broker struct {
	t    *testing.T
	port int
	desk int // of those within the desk, who need no certificate
	dir  string
	conf string
	*authority
	*exec.Cmd
}

func newBroker(t *testing.T) *broker {
	t.Helper()
	b := &broker{t: t, port: porttest.Free(t).Port, desk: porttest.Free(t).Port, dir: t.TempDir(), authority: newAuthority(t)}
	b.sign("broker", &x509.Certificate{Subject: pkix.Name{CommonName: "localhost"}, DNSNames: []string{"localhost"}, IPAddresses: []net.IP{net.IPv4(127, 0, 0, 1)}})
	b.conf = filepath.Join(b.dir, "mosquitto.conf")
	// What waits for a subscriber goes to its socket at once, and who subscribed outlasts a kill.
	text := fmt.Sprintf(`listener %d 127.0.0.1
user root
cafile %s
certfile %s
keyfile %s
require_certificate true
use_identity_as_username true
listener %d 127.0.0.1
allow_anonymous true
persistence true
persistence_location %s/
autosave_interval 60
max_inflight_messages 0
max_queued_messages 0
log_dest file %s
log_type notice
log_type warning
log_type error
log_timestamp_format %%s
`, b.port, b.file("ca.pem"), b.file("broker.pem"), b.file("broker.key"), b.desk, b.dir, b.log())
	if err := os.WriteFile(b.conf, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(b.kill)
	b.start()
	return b
}

func (b *broker) url() string { return fmt.Sprintf("ssl://127.0.0.1:%d", b.port) }

func (b *broker) log() string { return filepath.Join(b.dir, "log") }

func (b *broker) start() {
	b.t.Helper()
	b.Cmd = exec.Command("mosquitto", "-c", b.conf)
	if err := b.Cmd.Start(); err != nil {
		b.t.Fatal(err)
	}
	reachable(b.t, fmt.Sprintf("127.0.0.1:%d", b.desk))
}

func reachable(t *testing.T, address string) {
	t.Helper()
	for deadline := time.Now().Add(30 * time.Second); ; time.Sleep(20 * time.Millisecond) {
		c, err := net.Dial("tcp", address)
		if err == nil {
			_ = c.Close()
			return
		}
		if time.Now().After(deadline) {
			t.Fatalf("nobody listens: %v", err)
		}
	}
}

func (b *broker) kill() {
	_ = b.Process.Kill()
	_ = b.Cmd.Wait()
}

// stop ends it as its unit does: it writes down what it keeps.
func (b *broker) stop() {
	b.t.Helper()
	if err := b.Process.Signal(syscall.SIGTERM); err != nil {
		b.t.Fatal(err)
	}
	_ = b.Cmd.Wait() // by a signal
}

// knocks counts the connections that the broker took, by the second, after a time. It is its
// own log that says so.
func (b *broker) knocks(after time.Time) map[int64]int {
	b.t.Helper()
	f, err := os.Open(b.log())
	if err != nil {
		b.t.Fatal(err)
	}
	defer f.Close()
	all := map[int64]int{}
	for lines := bufio.NewScanner(f); lines.Scan(); {
		at, what, _ := strings.Cut(lines.Text(), ": ")
		if second, err := strconv.ParseInt(at, 10, 64); err == nil && second >= after.Unix() &&
			strings.HasPrefix(what, "New connection") && strings.Contains(what, fmt.Sprintf("port %d.", b.port)) {
			all[second]++
		}
	}
	return all
}

// storage is a real Prometheus that takes remote write, with the desk's rules.
type storage struct {
	t    *testing.T
	addr string
	dir  string
	*exec.Cmd
}

var seldom = regexp.MustCompile(`interval: (30m|1h)`)

func newStorage(t *testing.T) *storage {
	t.Helper()
	s := &storage{t: t, addr: porttest.Free(t).String(), dir: t.TempDir()}
	all, err := filepath.Glob(*rules)
	if err != nil {
		t.Fatal(err)
	}
	if len(all) == 0 {
		all = []string{"../../configs/prometheus/fluewright.rules.yml"}
	}
	text := "global: {evaluation_interval: 15s}\nrule_files:\n"
	for _, r := range all {
		rules, err := os.ReadFile(r)
		if err != nil {
			t.Fatal(err)
		}
		// What is due each half hour is due each minute here.
		path := filepath.Join(s.dir, filepath.Base(r))
		if err := os.WriteFile(path, seldom.ReplaceAll(rules, []byte("interval: 1m")), 0o600); err != nil {
			t.Fatal(err)
		}
		text += "  - " + path + "\n"
	}
	if err := os.WriteFile(filepath.Join(s.dir, "prometheus.yml"), []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	s.Cmd = exec.Command("prometheus", "--config.file="+filepath.Join(s.dir, "prometheus.yml"), "--storage.tsdb.path="+filepath.Join(s.dir, "data"),
		"--web.listen-address="+s.addr, "--web.enable-remote-write-receiver", "--web.max-connections=8192", "--log.level=error")
	if err := s.Cmd.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		_ = s.Process.Kill()
		_ = s.Cmd.Wait()
	})
	reachable(t, s.addr)
	return s
}

func (s *storage) url() string { return "http://" + s.addr + "/api/v1/write" }

func (s *storage) get(path string) string {
	s.t.Helper()
	res, err := (&http.Client{Timeout: time.Minute}).Get("http://" + s.addr + path)
	if err != nil {
		s.t.Fatal(err)
	}
	defer res.Body.Close()
	text, err := io.ReadAll(res.Body)
	if err != nil {
		s.t.Fatal(err)
	}
	return string(text)
}

// own is a metric of the storage's own, by its labels as they are written.
func (s *storage) own(name string) map[string]float64 {
	s.t.Helper()
	all := map[string]float64{}
	for line := range strings.Lines(s.get("/metrics")) {
		field := strings.Fields(line)
		if len(field) != 2 || field[0] != name && !strings.HasPrefix(field[0], name+"{") {
			continue
		}
		if v, err := strconv.ParseFloat(field[1], 64); err == nil {
			all[strings.TrimPrefix(field[0], name)] = v
		}
	}
	return all
}

// slow is how long each rule took that took longer than a fifth of a second.
func (s *storage) slow() map[string]time.Duration {
	s.t.Helper()
	var answer struct {
		Data struct {
			Groups []struct {
				Rules []struct {
					Name           string
					EvaluationTime float64
				}
			}
		}
	}
	if err := json.Unmarshal([]byte(s.get("/api/v1/rules")), &answer); err != nil {
		s.t.Fatal(err)
	}
	all := map[string]time.Duration{}
	for _, g := range answer.Data.Groups {
		for _, r := range g.Rules {
			if r.EvaluationTime > 0.2 {
				all[r.Name] = inSeconds(r.EvaluationTime)
			}
		}
	}
	return all
}

// ask returns the values of a query by the label "site", or by "" without one.
func (s *storage) ask(query string) map[string]float64 {
	s.t.Helper()
	var answer struct {
		Data struct {
			Result []struct {
				Metric map[string]string
				Value  [2]any
			}
		}
	}
	if err := json.Unmarshal([]byte(s.get("/api/v1/query?"+url.Values{"query": {query}}.Encode())), &answer); err != nil {
		s.t.Fatal(err)
	}
	all := map[string]float64{}
	for _, r := range answer.Data.Result {
		text, _ := r.Value[1].(string)
		all[r.Metric["site"]], _ = strconv.ParseFloat(text, 64)
	}
	return all
}

// burden is what a process has cost: CPU, and memory in MB.
func burden(t *testing.T, pid int) (cpu time.Duration, rss int) {
	t.Helper()
	stat, err := os.ReadFile(fmt.Sprintf("/proc/%d/stat", pid))
	if err != nil {
		return 0, 0
	}
	_, after, _ := strings.Cut(string(stat), ") ")
	f := strings.Fields(after)
	ticks := func(s string) time.Duration {
		n, _ := strconv.Atoi(s)
		return time.Duration(n) * 10 * time.Millisecond // USER_HZ is 100
	}
	pages, _ := strconv.Atoi(f[21])
	return ticks(f[11]) + ticks(f[12]), pages * os.Getpagesize() >> 20
}

// sizeOf is what lies in a directory, bytes.
func sizeOf(t *testing.T, dir string) (n int64) {
	t.Helper()
	err := filepath.WalkDir(dir, func(_ string, d fs.DirEntry, err error) error {
		if err == nil && d.Type().IsRegular() {
			if i, err := d.Info(); err == nil {
				n += i.Size()
			}
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	return n
}
