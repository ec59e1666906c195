package web

import (
	"crypto/tls"
	"fmt"
	"log/slog"
	"os"
	"sync"
	"time"
)

// recheck is how often the files of a certificate are looked at, at most.
const recheck = 10 * time.Second

// certificate is one from files, which is read again when they change: whoever renews it need
// not start the monitor again.
type certificate struct {
	certFile, keyFile string
	log               *slog.Logger

	mu     sync.Mutex
	loaded *tls.Certificate
	of     [2]os.FileInfo // nil: missing
	looked time.Time
}

// loadCertificate reads the files, which must be right at the start.
func loadCertificate(certFile, keyFile string, log *slog.Logger) (*certificate, error) {
	c := &certificate{certFile: certFile, keyFile: keyFile, log: log, looked: time.Now()}
	if err := c.load(); err != nil {
		return nil, fmt.Errorf("read the certificate of the pages: %w", err)
	}
	return c, nil
}

// files are the two files as they are now.
func (c *certificate) files() (all [2]os.FileInfo) {
	for i, name := range []string{c.certFile, c.keyFile} {
		if info, err := os.Stat(name); err == nil {
			all[i] = info
		}
	}
	return all
}

// same reports whether a file is still the one that was read.
func same(a, b os.FileInfo) bool {
	if a == nil || b == nil {
		return a == nil && b == nil
	}
	return os.SameFile(a, b) && a.ModTime().Equal(b.ModTime()) && a.Size() == b.Size()
}

func (c *certificate) load() error {
	of := c.files()
	pair, err := tls.LoadX509KeyPair(c.certFile, c.keyFile)
	c.of = of // also if it is wrong: it is said once
	if err != nil {
		return err
	}
	c.loaded = &pair
	return nil
}

// get is the certificate for a connection. Half a change, a certificate without its key yet,
// changes nothing.
func (c *certificate) get(*tls.ClientHelloInfo) (*tls.Certificate, error) {
	c.mu.Lock()
	defer c.mu.Unlock()
	if now := time.Now(); now.Sub(c.looked) >= recheck {
		c.looked = now
		if now := c.files(); !same(now[0], c.of[0]) || !same(now[1], c.of[1]) {
			if err := c.load(); err != nil {
				c.log.Error("the new certificate of the pages is no good; the old one stays", "error", err)
			} else {
				c.log.Info("the certificate of the pages is a new one")
			}
		}
	}
	return c.loaded, nil
}

// config is how the pages are encrypted.
func (c *certificate) config() *tls.Config {
	return &tls.Config{MinVersion: tls.VersionTLS12, GetCertificate: c.get, NextProtos: []string{"http/1.1"}}
}
