package mqtt

import (
	"bytes"
	"context"
	"crypto/tls"
	"crypto/x509"
	"log/slog"
	"net/url"
	"sync"
	"time"
)

// reread is how often files are looked at while a connection stands, so that it is known when
// the certificate ends that the next one will show.
const reread = time.Minute

// answerWithin is how long the storage may take; a card that hangs does not keep the monitor
// from the broker.
const answerWithin = 2 * time.Second

// Secure is how a broker is met over TLS, from files that may be replaced while the program
// runs: whoever renews a certificate need not start the monitor again. nil is without TLS.
type Secure struct {
	read func() (*tls.Config, error)
	log  *slog.Logger

	mu      sync.Mutex
	good    *tls.Config   // as last read without a mistake
	ends    time.Time     // when its certificate does
	said    string        // the mistake that was told
	reading chan struct{} // closed when what is being read is here; nil: nothing is
}

// NewSecure reads the files that o names, which must be right at the start; nil without TLS.
func NewSecure(o *Options) (*Secure, error) {
	server, secure, err := parseBroker(o.Broker)
	if err != nil {
		return nil, err
	}
	return newSecure(o, server, secure)
}

func newSecure(o *Options, server *url.URL, secure bool) (*Secure, error) {
	read := func() (*tls.Config, error) { return settings(server, secure, o.CAFile, o.CertFile, o.KeyFile) }
	good, err := read()
	if err != nil || good == nil {
		return nil, err
	}
	return &Secure{read: read, log: o.Log, good: good, ends: ending(good)}, nil
}

// once is for somebody who connects now, and not for months; nil without TLS.
func once(c *tls.Config) *Secure {
	if c == nil {
		return nil
	}
	return &Secure{good: c, read: func() (*tls.Config, error) { return c, nil }}
}

// Config is for the next connection: the files as they are now or, while they are not right or
// the storage does not answer, as they last were.
func (s *Secure) Config() *tls.Config {
	if s == nil {
		return nil
	}
	s.mu.Lock()
	if s.reading == nil {
		s.reading = make(chan struct{})
		go s.load(s.reading)
	}
	reading := s.reading
	s.mu.Unlock()
	late := time.NewTimer(answerWithin)
	defer late.Stop()
	select {
	case <-reading:
	case <-late.C:
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.good
}

// load reads the files. It ends when the storage answers.
func (s *Secure) load(done chan struct{}) {
	now, err := s.read()
	s.mu.Lock()
	defer s.mu.Unlock()
	s.reading = nil
	defer close(done)
	if err != nil {
		if err.Error() != s.said {
			s.said = err.Error()
			s.log.Error("the certificates for the MQTT broker are no good; those read before stay", "error", err)
		}
		return
	}
	if s.said = ""; !bytes.Equal(shown(now), shown(s.good)) {
		s.log.Info("the certificate for the MQTT broker is a new one; the next connection shows it")
	}
	s.good, s.ends = now, ending(now)
}

// shown is the certificate that a broker sees; nil without one.
func shown(c *tls.Config) []byte {
	if len(c.Certificates) == 0 {
		return nil
	}
	return c.Certificates[0].Certificate[0]
}

// Ends is when the certificate ends that the next connection shows, or one that it is signed
// by; zero without one.
func (s *Secure) Ends() time.Time {
	if s == nil {
		return time.Time{}
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.ends
}

func ending(c *tls.Config) (end time.Time) {
	if len(c.Certificates) == 0 {
		return end
	}
	for _, der := range c.Certificates[0].Certificate {
		one, err := x509.ParseCertificate(der)
		if err == nil && (end.IsZero() || one.NotAfter.Before(end)) {
			end = one.NotAfter
		}
	}
	return end
}

// watch looks at the files until ctx ends.
func (s *Secure) watch(ctx context.Context) {
	if s.Ends().IsZero() {
		return
	}
	tick := time.NewTicker(reread)
	defer tick.Stop()
	for {
		select {
		case <-tick.C:
			s.Config()
		case <-ctx.Done():
			return
		}
	}
}
