package notify

import (
	"bufio"
	"bytes"
	"context"
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/tls"
	"crypto/x509"
	"encoding/json"
	"encoding/pem"
	"fmt"
	"io"
	"math/big"
	"mime"
	"mime/quotedprintable"
	"net"
	"net/http"
	"net/mail"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"fluewright/analysis/alarm"
	"fluewright/analysis/frame"
	"fluewright/daemon/internal/porttest"
)

// need skips a test whose real part is missing, and fails it where they are demanded.
func need(t *testing.T, what string, command ...string) {
	t.Helper()
	if os.Getenv("FLUEWRIGHT_EMULATED") != "" {
		t.Skip("the test itself runs in an emulator; it is for real machines")
	}
	if exec.Command(command[0], command[1:]...).Run() == nil {
		return
	}
	if os.Getenv("FLUEWRIGHT_REAL") == "1" {
		t.Fatalf("%s is missing", what)
	}
	t.Skipf("%s is missing", what)
}

// launch starts a program that ends with the test.
func launch(t *testing.T, name string, args ...string) (out *bufio.Reader) {
	t.Helper()
	cmd := exec.Command(name, args...)
	pipe, err := cmd.StdoutPipe()
	if err == nil {
		err = cmd.Start()
	}
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		_ = cmd.Process.Kill()
		_ = cmd.Wait()
	})
	return bufio.NewReader(pipe)
}

// certificate makes one of 127.0.0.1, valid until the given time.
func certificate(t *testing.T, until time.Time) (cert, key string, pool *x509.CertPool) {
	t.Helper()
	private, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	template := &x509.Certificate{
		SerialNumber: big.NewInt(1), NotBefore: until.Add(-24 * time.Hour), NotAfter: until,
		IPAddresses: []net.IP{net.IPv4(127, 0, 0, 1)}, IsCA: true, BasicConstraintsValid: true, KeyUsage: x509.KeyUsageCertSign | x509.KeyUsageDigitalSignature,
	}
	der, err := x509.CreateCertificate(rand.Reader, template, template, &private.PublicKey, private)
	if err != nil {
		t.Fatal(err)
	}
	secret, err := x509.MarshalPKCS8PrivateKey(private)
	if err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	write := func(name, kind string, data []byte) string {
		path := filepath.Join(dir, name)
		if err := os.WriteFile(path, pem.EncodeToMemory(&pem.Block{Type: kind, Bytes: data}), 0o600); err != nil {
			t.Fatal(err)
		}
		return path
	}
	pool = x509.NewCertPool()
	pool.AddCert(must(x509.ParseCertificate(der)))
	return write("cert.pem", "CERTIFICATE", der), write("key.pem", "PRIVATE KEY", secret), pool
}

func must[T any](v T, err error) T {
	if err != nil {
		panic(err)
	}
	return v
}

// mailServer is a real one, with the mails that it takes.
func mailServer(t *testing.T, mode string, until time.Time) (Mail, *bufio.Reader) {
	t.Helper()
	need(t, "python3-aiosmtpd", "/usr/bin/python3", "-c", "import aiosmtpd")
	cert, key, pool := certificate(t, until)
	port := porttest.Free(t).Port
	out := launch(t, "/usr/bin/python3", "testdata/smtpd.py", fmt.Sprint(port), cert, key, mode)
	if line, err := out.ReadString('\n'); line != "ready\n" {
		t.Fatalf("the mail server says %q: %v", line, err)
	}
	return Mail{
		Server: fmt.Sprintf("127.0.0.1:%d", port), TLS: mode == "tls", Config: &tls.Config{RootCAs: pool}, User: "furnace", Password: "right",
		From: mail.Address{Name: "Furnace \"cellar\"", Address: "furnace@house.example"}, To: mail.Address{Address: "owner@house.example"},
	}, out
}

func TestARealMailServer(t *testing.T) {
	for _, mode := range []string{"starttls", "tls", "plain"} {
		t.Run(mode, func(t *testing.T) {
			m, out := mailServer(t, mode, time.Now().Add(time.Hour))
			if mode == "plain" { // on loopback
				m.User = ""
			}
			l := sample()
			ctx, cancel := context.WithTimeout(t.Context(), 20*time.Second)
			defer cancel()
			if err := m.Send(ctx, l); err != nil {
				t.Fatal(err)
			}
			var text bytes.Buffer
			for {
				line, err := out.ReadString('\n')
				if err != nil {
					t.Fatal(err)
				}
				if line == ".\r\n" {
					break
				}
				text.WriteString(line)
			}
			got, err := mail.ReadMessage(&text)
			if err != nil {
				t.Fatal(err)
			}
			subject, err := new(mime.WordDecoder).DecodeHeader(got.Header.Get("Subject"))
			if err != nil || subject != l.Title {
				t.Errorf("%v: subject %q, want %q", err, subject, l.Title)
			}
			body, err := io.ReadAll(quotedprintable.NewReader(got.Body))
			if err != nil || strings.TrimSpace(strings.ReplaceAll(string(body), "\r\n", "\n")) != l.Body {
				t.Errorf("%v: body\n%q\nwant\n%q", err, body, l.Body)
			}
			if got.Header.Get("Message-Id") != "<"+l.ID+"@fluewright.invalid>" || got.Header.Get("Auto-Submitted") != "auto-generated" {
				t.Errorf("got %v", got.Header)
			}
		})
	}
}

func TestWhatARealMailServerRefuses(t *testing.T) {
	m, _ := mailServer(t, "starttls", time.Now().Add(time.Hour))
	expired, _ := mailServer(t, "starttls", time.Now().Add(-time.Hour))
	tests := map[string]struct {
		change func(*Mail)
		want   Result
	}{
		"wrong password":      {func(m *Mail) { m.Password = "wrong" }, Refused},
		"unknown certificate": {func(m *Mail) { m.Config = nil }, Refused},
		"expired certificate": {func(m *Mail) { *m = expired }, Refused},
		"no such mailbox":     {func(m *Mail) { m.To.Address = "nobody@house.example" }, Refused},
		"mailbox full":        {func(m *Mail) { m.To.Address = "later@house.example" }, Failed},
		"nobody there":        {func(m *Mail) { m.Server = porttest.Free(t).String() }, Failed},
		"all is well":         {func(*Mail) {}, Delivered},
	}
	for name, tt := range tests {
		one := m
		tt.change(&one)
		ctx, cancel := context.WithTimeout(t.Context(), 20*time.Second)
		err := one.Send(ctx, sample())
		cancel()
		if r, _ := resultOf(err); r != tt.want {
			t.Errorf("%s: %v, %v", name, r, err)
		}
		if err != nil && strings.Contains(err.Error(), "wrong") {
			t.Errorf("%s: the password is told: %v", name, err)
		}
	}
}

// A real alertmanager shows the alarm, keeps it while we are silent, and ends it only when
// told.
func TestARealAlertmanager(t *testing.T) {
	need(t, "prometheus-alertmanager", "prometheus-alertmanager", "--version")
	dir := t.TempDir()
	config := filepath.Join(dir, "config.yml")
	// A second without news is what it takes for an alert of no stated end to be over.
	text := "global:\n  resolve_timeout: 1s\nroute:\n  receiver: nobody\nreceivers:\n- name: nobody\n"
	if err := os.WriteFile(config, []byte(text), 0o644); err != nil {
		t.Fatal(err)
	}
	url := "http://" + porttest.Free(t).String()
	launch(t, "prometheus-alertmanager", "--config.file="+config, "--storage.path="+dir,
		"--web.listen-address="+strings.TrimPrefix(url, "http://"), "--cluster.listen-address=")
	standing := func() (names []string) {
		res, err := http.Get(url + "/api/v2/alerts")
		if err != nil {
			return []string{"unreachable"}
		}
		defer res.Body.Close()
		var all []struct{ Labels map[string]string }
		if err := json.NewDecoder(res.Body).Decode(&all); err != nil {
			t.Fatal(err)
		}
		for _, a := range all {
			names = append(names, a.Labels["alarm"]+"/"+a.Labels["channel"]+" "+a.Labels["severity"])
		}
		return names
	}
	await := func(want string) {
		t.Helper()
		got := "nothing asked yet"
		for end := time.Now().Add(20 * time.Second); time.Now().Before(end); time.Sleep(50 * time.Millisecond) {
			if got = strings.Join(standing(), ", "); got == want {
				return
			}
		}
		t.Fatalf("it shows %q, want %q", got, want)
	}
	await("")
	a := NewAlertmanager(Alertmanager{URL: url + "/", Source: "http://cellar.example/"})
	desk := NewDesk("cellar", Policy{})
	now := Moment{0, time.Now(), true}
	take := func(s alarm.State) {
		desk.Take(now, News{
			Status: alarm.Status{Key: alarm.Key{Name: alarm.Overheat, Channel: frame.Flue}, Priority: alarm.High, State: s, Occurrence: 1},
			Wall:   time.Now(), Texts: Texts{{What: "flue: too hot"}},
		})
	}
	push := func() {
		t.Helper()
		alerts := desk.Alerts(now)
		if err := a.Push(t.Context(), "cellar", alerts, time.Now()); err != nil {
			t.Fatal(err)
		}
		desk.Alerted(alerts)
	}
	take(alarm.Raised)
	push()
	await("overheat/flue critical")
	time.Sleep(3 * time.Second) // our silence
	await("overheat/flue critical")
	take(alarm.Suppressed) // no end
	push()
	time.Sleep(100 * time.Millisecond)
	await("overheat/flue critical")
	take(alarm.Normal)
	push()
	await("")
	if got := len(desk.Alerts(now)); got != 1 {
		t.Errorf("%d ends are told on", got)
	}
	now.At += resolveFor
	if got := desk.Alerts(now); len(got) != 0 {
		t.Errorf("told for ever: %v", got)
	}
}
