package remotewrite

import (
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/tls"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/pem"
	"math/big"
	"net"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"testing"
	"time"
)

// authority signs certificates.
type authority struct {
	t    *testing.T
	dir  string
	key  *ecdsa.PrivateKey
	cert *x509.Certificate
}

func newAuthority(t *testing.T) *authority {
	a := &authority{t: t, dir: t.TempDir()}
	a.cert, a.key = a.make("ca", time.Hour, nil)
	return a
}

func (a *authority) file(name string) string { return filepath.Join(a.dir, name+".pem") }

// make writes name.pem and name-key.pem, valid for a time from now, or until before now.
func (a *authority) make(name string, valid time.Duration, by *authority) (*x509.Certificate, *ecdsa.PrivateKey) {
	a.t.Helper()
	must := func(err error) {
		a.t.Helper()
		if err != nil {
			a.t.Fatal(err)
		}
	}
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	must(err)
	c := &x509.Certificate{
		SerialNumber: big.NewInt(time.Now().UnixNano()), Subject: pkix.Name{CommonName: name},
		NotBefore: time.Now().Add(-48 * time.Hour), NotAfter: time.Now().Add(valid),
		IPAddresses: []net.IP{net.IPv4(127, 0, 0, 1)}, IsCA: by == nil, BasicConstraintsValid: true,
		KeyUsage:    x509.KeyUsageDigitalSignature | x509.KeyUsageCertSign,
		ExtKeyUsage: []x509.ExtKeyUsage{x509.ExtKeyUsageServerAuth, x509.ExtKeyUsageClientAuth},
	}
	parent, signer := c, key
	if by != nil {
		parent, signer = by.cert, by.key
	}
	der, err := x509.CreateCertificate(rand.Reader, c, parent, &key.PublicKey, signer)
	must(err)
	secret, err := x509.MarshalECPrivateKey(key)
	must(err)
	must(os.WriteFile(a.file(name), pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: der}), 0o600))
	must(os.WriteFile(a.file(name+"-key"), pem.EncodeToMemory(&pem.Block{Type: "EC PRIVATE KEY", Bytes: secret}), 0o600))
	c, err = x509.ParseCertificate(der)
	must(err)
	return c, key
}

// Only a receiver that proves who it is gets anything, and it learns who we are.
func TestTLS(t *testing.T) {
	ours, other := newAuthority(t), newAuthority(t)
	ours.make("server", time.Hour, ours)
	ours.make("expired", -time.Hour, ours)
	ours.make("site", time.Hour, ours)
	for name, tt := range map[string]struct {
		server string
		set    func(*Options)
		taken  bool
	}{
		"right":               {"server", func(*Options) {}, true},
		"another authority":   {"server", func(o *Options) { o.CAFile = other.file("ca") }, false},
		"the system's":        {"server", func(o *Options) { o.CAFile = "" }, false},
		"expired":             {"expired", func(*Options) {}, false},
		"we show nothing":     {"server", func(o *Options) { o.CertificateFile, o.KeyFile = "", "" }, false},
		"our key is not ours": {"server", func(o *Options) { o.KeyFile = ours.file("server-key") }, false},
	} {
		t.Run(name, func(t *testing.T) {
			p, start := minutes(t, 1)
			r := &receiver{stored: map[string]map[int64]float64{}}
			r.Server = httptest.NewUnstartedServer(http.HandlerFunc(r.serve))
			pair, err := tls.LoadX509KeyPair(ours.file(tt.server), ours.file(tt.server+"-key"))
			if err != nil {
				t.Fatal(err)
			}
			known := x509.NewCertPool()
			known.AddCert(ours.cert)
			r.TLS = &tls.Config{Certificates: []tls.Certificate{pair}, ClientAuth: tls.RequireAndVerifyClientCert, ClientCAs: known}
			r.StartTLS()
			t.Cleanup(r.Close)
			o := destination(r.URL, p)
			o.CAFile, o.CertificateFile, o.KeyFile = ours.file("ca"), ours.file("site"), ours.file("site-key")
			tt.set(&o)
			s, _ := run(t, o)
			waitFor(t, func() bool { st := s.Stats(); return st.Requests["failed"] > 0 || st.Sent > 0 && st.Pending == 0 })
			if tt.taken {
				equal(t, r.of(flueSeries), each(start, 1))
			} else if st := s.Stats(); st.Sent > 0 || len(r.requests()) > 0 || len(st.Dropped) != 3 || st.Dropped[refusedPart] > 0 {
				t.Errorf("%+v", st)
			}
		})
	}
	if _, err := New(Options{CAFile: ours.file("nowhere")}); err == nil {
		t.Error("certificates that are not there are no error")
	}
	if _, err := New(Options{CAFile: ours.file("site-key")}); err == nil {
		t.Error("a file without a certificate is no error")
	}
}
