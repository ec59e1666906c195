package mqtt

import (
	"bytes"
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/tls"
	"crypto/x509"
	"encoding/pem"
	"errors"
	"log/slog"
	"math/big"
	"os"
	"path/filepath"
	"strings"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"
)

// identify writes a certificate of its own and its key into one file, as the program keeps its.
func identify(t *testing.T, file string, serial int64, ends time.Time) {
	t.Helper()
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	c := &x509.Certificate{SerialNumber: big.NewInt(serial), NotAfter: ends}
	der, err := x509.CreateCertificate(rand.Reader, c, c, &key.PublicKey, key)
	if err != nil {
		t.Fatal(err)
	}
	secret, err := x509.MarshalPKCS8PrivateKey(key)
	if err != nil {
		t.Fatal(err)
	}
	text := pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: der})
	text = append(text, pem.EncodeToMemory(&pem.Block{Type: "PRIVATE KEY", Bytes: secret})...)
	if err := os.WriteFile(file, text, 0o600); err != nil {
		t.Fatal(err)
	}
}

// TestARenewedCertificate is shown by the next connection; half of one, or none, changes
// nothing and is said once.
func TestARenewedCertificate(t *testing.T) {
	first, second := time.Date(2027, 1, 2, 3, 4, 5, 0, time.UTC), time.Date(2029, 1, 2, 3, 4, 5, 0, time.UTC)
	file := filepath.Join(t.TempDir(), "identity.pem")
	identify(t, file, 1, first)
	var log bytes.Buffer
	s, err := NewSecure(&Options{Broker: "ssl://localhost:8883", CertFile: file, KeyFile: file, Log: slog.New(slog.NewTextHandler(&log, nil))})
	if err != nil {
		t.Fatal(err)
	}
	shows := func(serial int64, ends time.Time) {
		t.Helper()
		c, err := x509.ParseCertificate(s.Config().Certificates[0].Certificate[0])
		if err != nil || c.SerialNumber.Int64() != serial || !s.Ends().Equal(ends) {
			t.Errorf("shows %v that ends %v, want %d and %v; %v", c.SerialNumber, s.Ends(), serial, ends, err)
		}
	}
	shows(1, first)
	for _, text := range []string{"", "-----BEGIN CERTIFICATE-----\nMIIB\n-----END CERTIFICATE-----\n"} {
		if err := os.WriteFile(file, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		shows(1, first)
		shows(1, first)
	}
	identify(t, file, 2, second)
	shows(2, second)
	if err := os.Remove(file); err != nil {
		t.Fatal(err)
	}
	shows(2, second)
	if n := strings.Count(log.String(), "no good"); n != 3 || strings.Count(log.String(), "a new one") != 1 {
		t.Errorf("says\n%s", log.String())
	}
	if _, err := NewSecure(&Options{Broker: "ssl://localhost:8883", CertFile: file, KeyFile: file}); err == nil {
		t.Error("a start without a certificate is no mistake")
	}
	none, err := NewSecure(&Options{Broker: "tcp://localhost:1883"})
	if err != nil || none.Config() != nil || !none.Ends().IsZero() {
		t.Errorf("without TLS: %v, %v", none.Config(), err)
	}
}

// A storage that hangs keeps nobody from the broker, and is asked once; while a connection
// stands the files are looked at each minute.
func TestCertificatesOnAStorageThatHangs(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		old, fresh := &tls.Config{Certificates: []tls.Certificate{{Certificate: [][]byte{{1}}}}}, &tls.Config{Certificates: []tls.Certificate{{Certificate: [][]byte{{2}}}}}
		var asked atomic.Int64
		hang := make(chan struct{})
		s := &Secure{good: old, ends: time.Now(), log: slog.New(slog.DiscardHandler), read: func() (*tls.Config, error) {
			asked.Add(1)
			<-hang
			return fresh, nil
		}}
		began := time.Now()
		for range 3 {
			if s.Config() != old {
				t.Error("not what was read before")
			}
		}
		if took := time.Since(began); took > 3*answerWithin || asked.Load() != 1 {
			t.Errorf("%d times asked in %v", asked.Load(), took)
		}
		close(hang)
		synctest.Wait()
		if s.Config() != fresh {
			t.Error("what came late is not used")
		}
		s.read = func() (*tls.Config, error) { asked.Add(1); return nil, errors.New("gone") }
		s.ends = time.Now()
		asked.Store(0)
		go s.watch(t.Context())
		time.Sleep(10*reread + time.Second)
		synctest.Wait()
		if asked.Load() != 10 || s.Config() != fresh {
			t.Errorf("looked at %d times", asked.Load())
		}
	})
}
