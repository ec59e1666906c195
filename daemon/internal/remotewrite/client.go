package remotewrite

import (
	"bytes"
	"context"
	"crypto/tls"
	"crypto/x509"
	"errors"
	"fmt"
	"io"
	"net/http"
	"os"
	"strconv"
	"strings"
	"time"
)

const (
	// patience is how long a receiver may take for an answer.
	patience = 30 * time.Second
	// keptAlive is longer than the time between requests: a handshake costs more than what is
	// sent.
	keptAlive = 10 * time.Minute
	// mostAnswer is how much of an answer is read.
	mostAnswer = 4096
	// longestPause bounds what a receiver may ask for.
	longestPause = time.Hour
)

// client speaks to one receiver.
type client struct {
	o    *Options
	http *http.Client
}

func newClient(o *Options) (*client, error) {
	security, err := o.tls()
	if err != nil {
		return nil, err
	}
	line := http.DefaultTransport.(*http.Transport).Clone()
	line.TLSClientConfig, line.TLSHandshakeTimeout = security, patience
	line.IdleConnTimeout, line.MaxConnsPerHost = keptAlive, 1
	return &client{o, &http.Client{
		Timeout: patience,
		// A redirected POST becomes a GET, which any page answers with success.
		CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse },
		Transport:     line,
	}}, nil
}

func (o *Options) tls() (*tls.Config, error) {
	c := &tls.Config{MinVersion: tls.VersionTLS12}
	if o.CAFile != "" {
		pem, err := os.ReadFile(o.CAFile)
		if err != nil {
			return nil, fmt.Errorf("read certificates to trust: %w", err)
		}
		c.RootCAs = x509.NewCertPool()
		if !c.RootCAs.AppendCertsFromPEM(pem) {
			return nil, fmt.Errorf("read certificates to trust: there is none in %s", o.CAFile)
		}
	}
	if o.CertificateFile != "" {
		// Read at each handshake, for certificates are renewed.
		c.GetClientCertificate = func(*tls.CertificateRequestInfo) (*tls.Certificate, error) {
			pair, err := tls.LoadX509KeyPair(o.CertificateFile, o.KeyFile)
			return &pair, err
		}
	}
	return c, nil
}

// verdict is what an answer means.
type verdict int

const (
	later   verdict = iota // try again
	taken                  // the receiver has it
	refused                // it will never take this
	tooMuch                // it takes less at once
	foreign                // it does not speak this version of the protocol
	denied                 // it does not take anything from us: somebody must put that right
	expired                // it has become too old to be sent while it was tried
)

// answer is what came back.
type answer struct {
	verdict verdict
	why     error         // nil if taken
	pause   time.Duration // what the receiver asks for
	// stored is how many samples it says that it has stored; -1 if it does not say.
	stored int
	// broken says that something went wrong in the receiver, which may be due to what it got.
	broken bool
	// past says that it refuses what it got for its age.
	past bool
}

// post sends one request. The secrets are read anew: they are changed while the program runs.
func (c *client) post(ctx context.Context, p *protocol, body []byte) answer {
	req, err := http.NewRequestWithContext(ctx, http.MethodPost, c.o.URL, bytes.NewReader(body))
	if err != nil {
		return answer{verdict: denied, why: err, stored: -1}
	}
	req.Header.Set("Content-Type", p.contentType)
	req.Header.Set("Content-Encoding", "snappy")
	req.Header.Set("X-Prometheus-Remote-Write-Version", p.version)
	req.Header.Set("User-Agent", "fluewright/"+c.o.Software)
	if c.o.Tenant != "" {
		req.Header.Set("X-Scope-OrgID", c.o.Tenant)
	}
	if err := c.authorize(req); err != nil {
		return answer{verdict: denied, why: err, stored: -1}
	}
	res, err := c.http.Do(req)
	if err != nil {
		return answer{verdict: later, why: err, stored: -1}
	}
	defer res.Body.Close()
	text, _ := io.ReadAll(io.LimitReader(res.Body, mostAnswer)) // what it says beside the status
	return read(res.StatusCode, res.Header, string(text), p, time.Now())
}

func (c *client) authorize(req *http.Request) error {
	file := c.o.PasswordFile
	if c.o.TokenFile != "" {
		file = c.o.TokenFile
	}
	if file == "" {
		return nil
	}
	data, err := os.ReadFile(file)
	if err != nil {
		return fmt.Errorf("read secret: %w", err)
	}
	secret := strings.TrimRight(string(data), "\r\n")
	if c.o.TokenFile != "" {
		req.Header.Set("Authorization", "Bearer "+secret)
	} else {
		req.SetBasicAuth(c.o.User, secret)
	}
	return nil
}

// read judges an answer.
func read(status int, header http.Header, text string, p *protocol, now time.Time) answer {
	a := answer{stored: -1}
	if n, err := strconv.Atoi(header.Get("X-Prometheus-Remote-Write-Samples-Written")); err == nil && n >= 0 {
		a.stored = n
	}
	text, _, _ = strings.Cut(strings.TrimSpace(text), "\n")
	a.past = strings.Contains(text, "out of bounds") || strings.Contains(text, "too old")
	if status/100 != 2 {
		a.why = errors.New(strings.TrimSpace(fmt.Sprintf("%d %s", status, text)))
	}
	switch {
	case status/100 == 2 && p == v2 && a.stored < 0:
		// Receivers of the version before answer so to what they have read as an empty message.
		a.verdict, a.why = foreign, errors.New("it does not say that anything was written")
	case status/100 == 2:
		a.verdict = taken
	case status == http.StatusUnsupportedMediaType:
		a.verdict = foreign
	case status == http.StatusRequestEntityTooLarge:
		a.verdict = tooMuch
	case status == http.StatusTooManyRequests, status == http.StatusRequestTimeout, status/100 == 5:
		if a.verdict = later; status == http.StatusInternalServerError && final(text) {
			a.verdict = refused
		}
		a.broken = status == http.StatusInternalServerError
		a.pause = pauseOf(header.Get("Retry-After"), now)
	case status == http.StatusBadRequest, status == http.StatusConflict, status == http.StatusUnprocessableEntity:
		a.verdict = refused
	default: // 401, 403, 404, a redirect: the address or the secret is wrong, not the samples
		a.verdict = denied
	}
	return a
}

// final reports whether a failure is one that stays. Prometheus 2.42 says what others say
// with 400 with 500.
func final(text string) bool {
	for _, s := range []string{"too old sample", "out of order sample", "out of bounds", "duplicate sample"} {
		if strings.Contains(text, s) {
			return true
		}
	}
	return false
}

// pauseOf reads Retry-After: seconds, or a date.
func pauseOf(s string, now time.Time) time.Duration {
	if n, err := strconv.ParseUint(s, 10, 31); err == nil {
		return min(time.Duration(n)*time.Second, longestPause)
	}
	if t, err := http.ParseTime(s); err == nil {
		return min(max(t.Sub(now), 0), longestPause)
	}
	return 0
}
