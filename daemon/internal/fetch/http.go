package fetch

import (
	"context"
	"crypto/tls"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net/http"
	"net/url"
	"strconv"
	"strings"
	"time"

	"fluewright/daemon/internal/handout"
)

// How long a line may be dead.
const (
	stalled  = 30 * time.Second // without a byte, the connection is given up
	patience = 10 * time.Minute // without a byte, everything is; what came is kept
	firstTry = time.Second      // until the next attempt; doubled each time
	lastTry  = 30 * time.Second
)

// refusal is an answer that will not be another one the next time.
type refusal struct{ words string }

func (r refusal) Error() string { return r.words }

// Options is how to fetch.
type Options struct {
	// Say is told what a person wants to know meanwhile; nil: nobody does.
	Say func(format string, args ...any)
	// Token is shown to the monitor's pages; empty: none.
	Token string
	// TLS is how the pages are trusted; nil: by the certificates of this machine.
	TLS *tls.Config
	// Retry is the wait before the second attempt; a second if zero.
	Retry time.Duration
}

func (o *Options) say(format string, args ...any) {
	if o.Say != nil {
		o.Say(format, args...)
	}
}

// Page fetches a bundle from a monitor's pages, "http://furnace.local:8080".
func Page(ctx context.Context, page string, f handout.Form, o Options) (*Fetched, error) {
	at, err := url.Parse(page)
	if err != nil || at.Scheme != "http" && at.Scheme != "https" || at.Host == "" {
		return nil, fmt.Errorf("%q is no address of a monitor's page: want one as http://furnace.local:8080", page)
	}
	at = at.JoinPath("api", "bundle")
	p, err := openPart(at.String(), f)
	if err != nil {
		return nil, err
	}
	at.RawQuery = f.Values().Encode()
	line := http.DefaultTransport.(*http.Transport).Clone()
	line.TLSClientConfig = o.TLS
	defer line.CloseIdleConnections()
	// A token is for the monitor that was named, and for nobody that it sends us to.
	client := &http.Client{Transport: line, CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}
	got, err := persist(ctx, p, o, func() error { return p.ask(ctx, client, at.String(), &o) })
	if err != nil {
		return nil, errors.Join(fmt.Errorf("ask %s: %w", at.Host, err), p.Close())
	}
	return got, nil
}

// persist asks until the part is whole, or nothing has come for long, or there is a refusal.
func persist(ctx context.Context, p *part, o Options, ask func() error) (*Fetched, error) {
	retry := o.Retry
	if retry == 0 {
		retry = firstTry
	}
	wait, progress := retry, time.Now()
	for {
		before, of := p.have, p.of
		err := ask()
		if err == nil && p.whole() {
			got, err := p.finish()
			if !errors.Is(err, errSum) {
				return got, err
			}
			return nil, err
		}
		var no refusal
		if ctx.Err() != nil || errors.As(err, &no) {
			return nil, err
		}
		if p.have != before || p.of != of {
			wait, progress = retry, time.Now()
		}
		if time.Since(progress) > patience {
			return nil, fmt.Errorf("nothing has come for %v: %w", patience, err)
		}
		o.say("The line is lost (%v); %s have come and are kept. Trying again.", err, megabytes(p.have))
		select {
		case <-ctx.Done():
			return nil, ctx.Err()
		case <-time.After(wait):
		}
		wait = min(2*wait, lastTry)
	}
}

func megabytes(n int64) string { return fmt.Sprintf("%.1f MB", float64(n)/1e6) }

// ask makes one request for what is missing.
func (p *part) ask(ctx context.Context, client *http.Client, at string, o *Options) error {
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	r, err := http.NewRequestWithContext(ctx, http.MethodGet, at, http.NoBody)
	if err != nil {
		return err
	}
	if p.whole() {
		return nil // it came whole, and was not used
	}
	if p.have > 0 {
		r.Header.Set("Range", fmt.Sprintf("bytes=%d-", p.have))
		r.Header.Set("If-Range", strconv.Quote(p.of.ID))
	}
	if o.Token != "" {
		r.Header.Set("Authorization", "Bearer "+o.Token)
	}
	a, err := client.Do(r)
	var distrust *tls.CertificateVerificationError
	if errors.As(err, &distrust) {
		return refusal{err.Error()}
	}
	if err != nil {
		return err
	}
	defer a.Body.Close()
	if err := p.accept(a, o); err != nil {
		return err
	}
	// Each piece has its time.
	watch := time.AfterFunc(stalled, cancel)
	defer watch.Stop()
	buffer := make([]byte, 64<<10)
	for {
		n, err := a.Body.Read(buffer)
		watch.Reset(stalled)
		if err := p.add(buffer[:n]); err != nil {
			return refusal{err.Error()}
		}
		if errors.Is(err, io.EOF) && p.whole() {
			return nil
		}
		if err != nil {
			return err
		}
	}
}

// accept reads the head of an answer.
func (p *part) accept(a *http.Response, o *Options) error {
	tag, err := strconv.Unquote(a.Header.Get("ETag"))
	switch {
	case a.StatusCode == http.StatusServiceUnavailable:
		return errors.New(words(a))
	case a.StatusCode/100 == 3:
		return refusal{fmt.Sprintf("the page sends us on to %q; ask there if you trust it", a.Header.Get("Location"))}
	case a.StatusCode != http.StatusOK && a.StatusCode != http.StatusPartialContent:
		return refusal{words(a)}
	case err != nil || tag == "":
		return refusal{"what answers there sends no bundle"}
	case a.StatusCode == http.StatusOK:
		if p.have > 0 {
			o.say("The monitor has another bundle by now: all of it comes again.")
		}
		if a.ContentLength <= 0 || a.ContentLength > 2*handout.MostBytes {
			return refusal{"what answers there does not say how much comes"}
		}
		return p.begin(identity{tag, a.ContentLength})
	case tag != p.of.ID || !strings.HasPrefix(a.Header.Get("Content-Range"), fmt.Sprintf("bytes %d-", p.have)):
		return errors.Join(errors.New("the rest of another bundle came"), p.begin(identity{}))
	}
	return nil
}

// words are what a monitor says of why not.
func words(a *http.Response) string {
	text, _ := io.ReadAll(io.LimitReader(a.Body, 2000)) // as much as there is
	var problem struct{ Detail string }
	if strings.HasPrefix(a.Header.Get("Content-Type"), "application/problem+json") && json.Unmarshal(text, &problem) == nil && problem.Detail != "" {
		return a.Status + ": " + problem.Detail
	}
	if s := strings.TrimSpace(string(text)); s != "" && strings.HasPrefix(a.Header.Get("Content-Type"), "text/plain") {
		return s
	}
	return a.Status
}
