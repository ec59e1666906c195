package notify

import (
	"context"
	"crypto/tls"
	"errors"
	"fmt"
	"io"
	"net/http"
	"net/url"
	"strconv"
	"time"
)

// Transport carries a letter to the next station on its way to a person. That station's
// having taken it is all that nil says.
type Transport interface {
	Send(ctx context.Context, l Letter) error
}

// Refusal is an error that says more than that it did not work.
type Refusal struct {
	// Final says that the same would be refused again.
	Final bool
	// After is how long the receiver asks to be left alone; zero where it does not say.
	After time.Duration
	Err   error
}

// Error returns what the receiver said.
func (r *Refusal) Error() string { return r.Err.Error() }

// Unwrap returns it.
func (r *Refusal) Unwrap() error { return r.Err }

// longestAfter is the most that a receiver can ask for: an alarm does not wait for an hour
// because a server says so.
const longestAfter = 10 * time.Minute

// sendWithin is how long one attempt may take.
const sendWithin = 20 * time.Second

// newClient returns a client that follows nobody: a redirected POST becomes a GET, whose
// answer would pass for a delivery.
func newClient() *http.Client {
	t := http.DefaultTransport.(*http.Transport).Clone()
	t.TLSClientConfig = &tls.Config{MinVersion: tls.VersionTLS12}
	t.MaxIdleConnsPerHost, t.IdleConnTimeout = 1, 30*time.Second
	t.TLSHandshakeTimeout = sendWithin / 2
	return &http.Client{
		Transport:     t,
		CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse },
	}
}

// do sends a request and turns the answer into nil or an error without an address in it:
// addresses hold secrets.
func do(client *http.Client, req *http.Request) error {
	req.Header.Set("User-Agent", "fluewright")
	res, err := client.Do(req)
	if err != nil {
		return withoutAddress(err)
	}
	defer res.Body.Close()
	_, _ = io.Copy(io.Discard, io.LimitReader(res.Body, 64<<10)) // lets the connection be used again
	return answer(res)
}

// answer judges the status of a response.
func answer(res *http.Response) error {
	code := res.StatusCode
	if code >= 200 && code < 300 {
		return nil
	}
	r := &Refusal{Err: fmt.Errorf("the receiver answers %d %s", code, http.StatusText(code))}
	switch {
	case code == http.StatusRequestTimeout, code == http.StatusTooManyRequests, code >= 500:
		r.After = retryAfter(res.Header.Get("Retry-After"), time.Now())
	case code >= 300 && code < 400:
		r.Final, r.Err = true, fmt.Errorf("%w: it is to be configured at the address that it leads to", r.Err)
	default:
		r.Final = true
	}
	return r
}

// retryAfter reads both forms of the header (RFC 9110, 10.2.3).
func retryAfter(text string, now time.Time) time.Duration {
	d := time.Duration(0)
	if s, err := strconv.ParseUint(text, 10, 32); err == nil {
		d = time.Duration(s) * time.Second
	} else if at, err := http.ParseTime(text); err == nil {
		d = at.Sub(now)
	}
	return min(max(d, 0), longestAfter)
}

func withoutAddress(err error) error {
	var u *url.Error
	if errors.As(err, &u) {
		return fmt.Errorf("reach the receiver: %w", u.Err)
	}
	return err
}

// resultOf sorts an error of Send.
func resultOf(err error) (Result, time.Duration) {
	var r *Refusal
	switch {
	case err == nil:
		return Delivered, 0
	case errors.As(err, &r) && r.Final:
		return Refused, 0
	case r != nil:
		return Failed, r.After
	}
	return Failed, 0
}
