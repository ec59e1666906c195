package fleettest

import (
	"bytes"
	"fmt"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"
)

// Broker is mosquitto with the fleet's configuration.
type Broker struct {
	// Sites and People are its two ports, host:port.
	Sites, People string
	// Dir is what /etc/mosquitto/fleet is on a real one.
	Dir string

	t    testing.TB
	file string
	cmd  *exec.Cmd
	gone chan struct{}
	said *record
}

// record is a log that is read while it is written.
type record struct {
	mu   sync.Mutex
	text bytes.Buffer
}

func (r *record) Write(b []byte) (int, error) {
	r.mu.Lock()
	defer r.mu.Unlock()
	return r.text.Write(b)
}

func (r *record) String() string {
	r.mu.Lock()
	defer r.mu.Unlock()
	return r.text.String()
}

// NewBroker starts mosquitto as its page says, with what the authority has made.
func NewBroker(t testing.TB, a *Authority) *Broker {
	t.Helper()
	Need(t, "mosquitto")
	b := &Broker{Dir: t.TempDir(), t: t}
	b.Sites, b.People = free(t), free(t)
	from := filepath.Join(Configs(t), "fleet", "mosquitto")
	b.put("broker.pem", a.Read("broker.pem"))
	b.put("broker-key.pem", a.Read("broker-key.pem"))
	b.put("sites-ca.pem", a.Read("root/certificate.pem")+a.Read("sites/certificate.pem"))
	b.put("people-ca.pem", a.Read("people/certificate.pem"))
	b.Lists(a)
	rules := ""
	for _, part := range []string{"sites.acl", "desk.acl", "owners.acl", "revoked.acl"} {
		text, err := os.ReadFile(filepath.Join(from, part))
		if err != nil {
			t.Fatal(err)
		}
		rules += string(text)
	}
	b.put("acl", rules)
	settings, err := os.ReadFile(filepath.Join(from, "mosquitto.conf"))
	if err != nil {
		t.Fatal(err)
	}
	b.file = b.put("mosquitto.conf", strings.NewReplacer(
		"/etc/mosquitto/fleet/", b.Dir+"/",
		"/var/lib/mosquitto/", b.Dir+"/",
		"listener 8883\n", "listener "+port(b.Sites)+" 127.0.0.1\n",
		"listener 8884\n", "listener "+port(b.People)+" 127.0.0.1\n",
		"log_dest syslog\n", "log_dest stderr\nlog_type information\nuser root\n",
	).Replace(string(settings)))
	b.Start()
	t.Cleanup(b.Stop)
	return b
}

func free(t testing.TB) string {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	return l.Addr().String()
}

func port(address string) string {
	_, p, _ := net.SplitHostPort(address)
	return p
}

func (b *Broker) put(name, text string) string {
	b.t.Helper()
	file := filepath.Join(b.Dir, name)
	if err := os.WriteFile(file, []byte(text), 0o600); err != nil {
		b.t.Fatal(err)
	}
	return file
}

// Lists installs the lists of revoked certificates; Reload makes the broker read them.
func (b *Broker) Lists(a *Authority) {
	b.put("sites-crl.pem", a.Read("sites/crl.pem"))
	b.put("people-crl.pem", a.Read("people/crl.pem"))
}

// Install puts a file in the place of another.
func (b *Broker) Install(name, text string) { b.put(name, text) }

// Rules appends to the list of rules.
func (b *Broker) Rules(text string) {
	b.t.Helper()
	old, err := os.ReadFile(filepath.Join(b.Dir, "acl"))
	if err != nil {
		b.t.Fatal(err)
	}
	b.put("acl", string(old)+text)
}

// Start starts it.
func (b *Broker) Start() {
	b.t.Helper()
	b.said, b.gone = &record{}, make(chan struct{})
	b.cmd = exec.Command("mosquitto", "-c", b.file)
	b.cmd.Stdout, b.cmd.Stderr = b.said, b.said
	if err := b.cmd.Start(); err != nil {
		b.t.Fatal(err)
	}
	go func(cmd *exec.Cmd, gone chan struct{}) { _ = cmd.Wait(); close(gone) }(b.cmd, b.gone)
	for deadline := time.Now().Add(15 * time.Second); !strings.Contains(b.said.String(), "running"); time.Sleep(20 * time.Millisecond) {
		select {
		case <-b.gone:
			b.t.Fatalf("the broker does not run:\n%s", b.said)
		default:
		}
		if time.Now().After(deadline) {
			b.t.Fatalf("the broker does not come up:\n%s", b.said)
		}
	}
}

// Stop ends it as the service manager does.
func (b *Broker) Stop() {
	_ = b.cmd.Process.Signal(syscall.SIGTERM)
	select {
	case <-b.gone:
	case <-time.After(10 * time.Second):
		_ = b.cmd.Process.Kill()
		<-b.gone
	}
}

// Reload makes it read rules, certificates and lists again, and waits until it has.
func (b *Broker) Reload() {
	b.t.Helper()
	before := strings.Count(b.said.String(), "Reloading config")
	_ = b.cmd.Process.Signal(syscall.SIGHUP)
	for deadline := time.Now().Add(10 * time.Second); strings.Count(b.said.String(), "Reloading config") == before; time.Sleep(10 * time.Millisecond) {
		if time.Now().After(deadline) {
			b.t.Fatal("the broker does not reload")
		}
	}
	time.Sleep(200 * time.Millisecond) // it says so first and does it then
}

// Log is what it has said since it was started.
func (b *Broker) Log() string { return b.said.String() }

// URL is the address of a port as the program's configuration has it.
func URL(address string) string { return fmt.Sprintf("ssl://%s:%s", BrokerName, port(address)) }
