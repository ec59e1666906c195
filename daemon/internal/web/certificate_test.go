package web

import (
	"bufio"
	"context"
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/tls"
	"crypto/x509"
	"encoding/pem"
	"log/slog"
	"math/big"
	"net"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"fluewright/daemon/internal/access"
)

// certify writes a certificate of its own with a serial number, and its key.
func certify(t *testing.T, dir string, serial int64) (certFile, keyFile string) {
	t.Helper()
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	template := &x509.Certificate{
		SerialNumber: big.NewInt(serial), NotAfter: time.Now().Add(time.Hour), DNSNames: []string{"board.lan"},
		IPAddresses: []net.IP{net.IPv4(127, 0, 0, 1)},
	}
	cert, err := x509.CreateCertificate(rand.Reader, template, template, &key.PublicKey, key)
	if err != nil {
		t.Fatal(err)
	}
	der, err := x509.MarshalPKCS8PrivateKey(key)
	if err != nil {
		t.Fatal(err)
	}
	certFile, keyFile = filepath.Join(dir, "web.pem"), filepath.Join(dir, "web-key.pem")
	for name, block := range map[string]*pem.Block{certFile: {Type: "CERTIFICATE", Bytes: cert}, keyFile: {Type: "PRIVATE KEY", Bytes: der}} {
		if err := os.WriteFile(name, pem.EncodeToMemory(block), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	return certFile, keyFile
}

// TestEncrypted: pages, streams and sessions over TLS, of which the cookie is bound to the
// host and never sent in the clear.
func TestEncrypted(t *testing.T) {
	o, a := locked(t)
	o.CertificateFile, o.KeyFile = certify(t, t.TempDir(), 1)
	s := running(t, o)
	if !strings.HasPrefix(s.URL(), "https://127.0.0.1:") {
		t.Errorf("the page is at %s", s.URL())
	}
	trust := &tls.Config{InsecureSkipVerify: true}
	client := &http.Client{
		Transport:     &http.Transport{TLSClientConfig: trust, ForceAttemptHTTP2: true},
		CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse },
	}
	r, err := http.NewRequestWithContext(t.Context(), http.MethodPost, s.URL()+"sign-in",
		strings.NewReader(url.Values{"name": {"Anna"}, "password": {password}}.Encode()))
	if err != nil {
		t.Fatal(err)
	}
	r.Header.Set("Origin", strings.TrimSuffix(s.URL(), "/"))
	r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	answer, err := client.Do(r)
	if err != nil {
		t.Fatal(err)
	}
	_ = answer.Body.Close()
	got := answer.Header.Get("Set-Cookie")
	if answer.StatusCode != http.StatusSeeOther || !strings.HasPrefix(got, "__Host-fluewright=") || !strings.Contains(got, "; Secure") || strings.Contains(got, "Domain") {
		t.Fatalf("%s, cookie %q", answer.Status, got)
	}
	id, _, _ := strings.Cut(strings.TrimPrefix(got, "__Host-fluewright="), ";")
	if a.Session(id).Name != "Anna" {
		t.Error("nobody is signed in")
	}
	ctx, cancel := context.WithCancel(t.Context())
	defer cancel()
	stream, err := http.NewRequestWithContext(ctx, http.MethodGet, s.URL()+"events", http.NoBody)
	if err != nil {
		t.Fatal(err)
	}
	stream.AddCookie(&http.Cookie{Name: "__Host-fluewright", Value: id})
	if answer, err = client.Do(stream); err != nil {
		t.Fatal(err)
	}
	defer answer.Body.Close()
	lines := bufio.NewScanner(answer.Body)
	for beats := 0; beats < 2; {
		if !lines.Scan() {
			t.Fatal("the stream ended")
		}
		if lines.Text() == "event: beat" {
			beats++
		}
	}
	if c, err := tls.Dial("tcp", s.Addr(), &tls.Config{InsecureSkipVerify: true, MinVersion: tls.VersionTLS10, MaxVersion: tls.VersionTLS11}); err == nil {
		_ = c.Close()
		t.Error("TLS 1.1 is spoken")
	}
	if answer := raw(t, s, "GET / HTTP/1.1\r\nHost: "+s.Addr()+"\r\nConnection: close\r\n\r\n"); !strings.HasPrefix(answer, "HTTP/1.0 400") {
		t.Errorf("in the clear: %.80q", answer)
	}
}

// TestARenewedCertificate is taken up without a new start; half of one, or a broken one,
// changes nothing.
func TestARenewedCertificate(t *testing.T) {
	dir := t.TempDir()
	certFile, keyFile := certify(t, dir, 1)
	c, err := loadCertificate(certFile, keyFile, slog.New(slog.DiscardHandler))
	if err != nil {
		t.Fatal(err)
	}
	serial := func() int64 {
		t.Helper()
		c.looked = time.Time{}
		pair, err := c.get(nil)
		if err != nil {
			t.Fatal(err)
		}
		leaf, err := x509.ParseCertificate(pair.Certificate[0])
		if err != nil {
			t.Fatal(err)
		}
		return leaf.SerialNumber.Int64()
	}
	another := t.TempDir()
	certify(t, another, 2)
	move := func(name string) {
		t.Helper()
		if err := os.Rename(filepath.Join(another, name), filepath.Join(dir, name)); err != nil {
			t.Fatal(err)
		}
	}
	if got := serial(); got != 1 {
		t.Errorf("before: %d", got)
	}
	move("web.pem")
	if got := serial(); got != 1 {
		t.Errorf("without its key: %d", got)
	}
	move("web-key.pem")
	if got := serial(); got != 2 {
		t.Errorf("with its key: %d", got)
	}
	if err := os.Remove(certFile); err != nil {
		t.Fatal(err)
	}
	if got := serial(); got != 2 {
		t.Errorf("gone: %d", got)
	}
	if _, err := loadCertificate(certFile, keyFile, slog.New(slog.DiscardHandler)); err == nil {
		t.Error("a start without a certificate is no mistake")
	}
}

// TestACertificateThatIsMissing ends the start with words, and leaves no port open.
func TestACertificateThatIsMissing(t *testing.T) {
	o := options()
	o.Gate = &access.Gate{Accounts: access.Load("")}
	o.CertificateFile, o.KeyFile = "/nowhere/web.pem", "/nowhere/key.pem"
	if _, err := Listen("127.0.0.1:0", o); err == nil || !strings.Contains(err.Error(), "certificate of the pages") {
		t.Errorf("%v", err)
	}
}
