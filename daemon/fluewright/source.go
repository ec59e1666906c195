package main

import (
	"bytes"
	"context"
	"crypto/tls"
	"crypto/x509"
	"encoding/pem"
	"errors"
	"fmt"
	"io/fs"
	"net"
	"os"
	"strings"
	"time"

	"fluewright/daemon/internal/config"
	"fluewright/daemon/internal/fetch"
	"fluewright/daemon/internal/handout"
	"fluewright/daemon/internal/history"
	"fluewright/daemon/internal/trend"
)

// source is the part of a command line that says where a history is.
type source struct {
	Store string `arg:"" optional:"" help:"History: its file or a copy, its directory, or a bundle. Without it the monitor that runs on this machine is asked." type:"path"`
	URL   string `help:"Ask the monitor whose page is there." name:"url" group:"From elsewhere" placeholder:"http://HOST:PORT"`
	through
	Site      string `help:"Its site, for --broker." group:"From elsewhere" placeholder:"NAME"`
	TokenFile string `help:"File with a token for the monitor's page, which \"fluewright access token\" has made." type:"path" group:"From elsewhere" placeholder:"FILE"`
	Config    string `help:"Configuration of the monitor on this machine, which says where its page is." type:"path" default:"/etc/fluewright/fluewright.toml" group:"From elsewhere" placeholder:"FILE"`
}

// Validate allows one place.
func (s *source) Validate() error {
	places := 0
	for _, p := range []string{s.Store, s.URL, s.Broker} {
		if p != "" {
			places++
		}
	}
	switch {
	case places > 1:
		return errors.New("a history comes from a file, from --url or from --broker: name one of them")
	case (s.Broker == "") != (s.Site == ""):
		return errors.New("--broker and --site go together")
	case s.Broker == "" && (s.User != "" || s.PasswordFile != "" || s.CertFile != ""):
		return errors.New("--user, --password-file and --cert-file are for --broker")
	case s.Broker == "" && s.CAFile != "" && !strings.HasPrefix(s.URL, "https:"):
		return errors.New("--ca-file is for an encrypted connection: --broker ssl://… or --url https://…")
	case s.TokenFile != "" && (s.Broker != "" || s.Store != ""):
		return errors.New("--token-file is for a monitor's page: --url, or the one on this machine")
	}
	return s.through.check()
}

// opened is a history, and what must be cleared away behind it.
type opened struct {
	*history.Archive
	fetched *fetch.Fetched // nil for a file
}

// Close closes it.
func (o *opened) Close() error {
	err := o.Archive.Close()
	if o.fetched != nil {
		err = errors.Join(err, o.fetched.Close())
	}
	return err
}

// open opens the history. One from elsewhere comes as a bundle of the wish, so that all of
// it is wanted then: the pick that is left is returned.
func (s *source) open(ctx context.Context, std streams, w handout.Wish) (*opened, trend.Pick, error) {
	if s.Store != "" {
		a, err := history.Open(ctx, s.Store)
		if err != nil {
			return nil, w.Pick, err
		}
		return &opened{Archive: a}, w.Pick, nil
	}
	got, err := s.fetch(ctx, std, w)
	if err != nil {
		return nil, w.Pick, err
	}
	a, err := history.Open(ctx, got.Path)
	if err != nil {
		return nil, w.Pick, errors.Join(err, got.Close())
	}
	return &opened{a, got}, trend.Pick{}, nil
}

func (s *source) fetch(ctx context.Context, std streams, w handout.Wish) (*fetch.Fetched, error) {
	o := fetch.Options{Say: func(format string, args ...any) { fmt.Fprintf(std.err, format+"\n", args...) }}
	if s.Broker != "" {
		from, err := s.through.options()
		if err != nil {
			return nil, err
		}
		from.Site = s.Site
		return fetch.Broker(ctx, from, handout.FormOf(w), o)
	}
	if s.TokenFile != "" {
		token, err := os.ReadFile(s.TokenFile)
		if err != nil {
			return nil, fmt.Errorf("read the token: %w", err)
		}
		o.Token = strings.TrimSpace(string(token))
	}
	if s.URL != "" {
		var err error
		if o.TLS, err = trusting(s.CAFile); err != nil {
			return nil, err
		}
		return fetch.Page(ctx, s.URL, handout.FormOf(w), o)
	}
	page, certificate, err := s.here()
	if err != nil {
		return nil, err
	}
	if o.TLS, err = exactly(certificate); err != nil {
		return nil, err
	}
	got, err := fetch.Page(ctx, page, handout.FormOf(w), o)
	if err != nil {
		err = fmt.Errorf("%w\nNo history was named and so the monitor on this machine was asked. A file, --url or --config says where else", err)
	}
	return got, err
}

// trusting is the trust in those who are signed by what a file holds; nil without a file.
func trusting(caFile string) (*tls.Config, error) {
	if caFile == "" {
		return nil, nil //nolint:nilnil // as http takes it
	}
	pem, err := os.ReadFile(caFile)
	if err != nil {
		return nil, fmt.Errorf("read certificates: %w", err)
	}
	pool := x509.NewCertPool()
	if !pool.AppendCertsFromPEM(pem) {
		return nil, fmt.Errorf("read certificates: %s holds none in PEM", caFile)
	}
	return &tls.Config{RootCAs: pool, MinVersion: tls.VersionTLS12}, nil
}

// exactly is the trust in the one certificate that a file holds, whatever its names are: the
// monitor on this machine is asked at an address that stands in no certificate.
func exactly(certFile string) (*tls.Config, error) {
	if certFile == "" {
		return nil, nil //nolint:nilnil // as http takes it
	}
	text, err := os.ReadFile(certFile)
	if err != nil {
		return nil, fmt.Errorf("read the page's certificate: %w", err)
	}
	block, _ := pem.Decode(text)
	if block == nil {
		return nil, fmt.Errorf("read the page's certificate: %s holds none in PEM", certFile)
	}
	return &tls.Config{
		MinVersion:         tls.VersionTLS12,
		InsecureSkipVerify: true, // it is verified below
		VerifyConnection: func(c tls.ConnectionState) error {
			if !bytes.Equal(c.PeerCertificates[0].Raw, block.Bytes) {
				return fmt.Errorf("what answers there has another certificate than %s", certFile)
			}
			return nil
		},
	}, nil
}

// here is the page of the monitor on this machine, and the file of its certificate if it is
// encrypted.
func (s *source) here() (page, certificate string, err error) {
	cfg, err := config.Load(s.Config)
	if errors.Is(err, fs.ErrNotExist) {
		cfg, err = config.Default(), nil
	}
	if err != nil {
		return "", "", err
	}
	return pageHere(cfg)
}

// pageHere is where the page of the monitor on this machine is, and the file of its
// certificate if it is encrypted.
func pageHere(cfg *config.Config) (page, certificate string, err error) {
	host, port, err := net.SplitHostPort(cfg.Web.Listen)
	if err != nil {
		return "", "", fmt.Errorf("read where the page is: %w", err)
	}
	if ip := net.ParseIP(host); host == "" || ip != nil && ip.IsUnspecified() {
		host = "127.0.0.1"
	}
	scheme := "http://"
	if cfg.Web.CertificateFile != "" {
		scheme = "https://"
	}
	return scheme + net.JoinHostPort(host, port), cfg.Web.CertificateFile, nil
}

// wish says what to ask for; times without a zone are in this one.
func (p *pick) wish(burn string, d history.Detail, zone *time.Location) (w handout.Wish, err error) {
	w.Detail = d
	w.Since, w.Burn = time.Duration(p.Since), burn
	if w.From, err = p.From.in(zone); err == nil {
		w.To, err = p.To.in(zone)
	}
	return w, err
}

// zone is the one asked for, or the other.
func (p *pick) zone(other *time.Location) (*time.Location, error) {
	if p.Zone == "" {
		return other, nil
	}
	zone, err := time.LoadLocation(p.Zone)
	if err != nil {
		return nil, fmt.Errorf("find time zone: %w", err)
	}
	return zone, nil
}

// window opens the history and finds the window. The archive is the caller's to close.
// Without another zone it is the site's, which is not known before the history is here:
// what is asked of elsewhere is then in this machine's.
func (p *pick) window(ctx context.Context, std streams, s *source, burn string, d history.Detail) (a *opened, w trend.Window, zone *time.Location, err error) {
	defer func() {
		if err != nil && a != nil {
			err, a = errors.Join(err, a.Close()), nil
		}
	}()
	if zone, err = p.zone(time.Local); err != nil {
		return nil, w, nil, err
	}
	wish, err := p.wish(burn, d, zone)
	if err != nil {
		return nil, w, nil, err
	}
	a, rest, err := s.open(ctx, std, wish)
	if err != nil {
		return nil, w, nil, err
	}
	from, to := a.Span()
	site, err := trend.SiteOf(ctx, a.Archive, trend.Window{From: from, To: to}, zone)
	if err != nil {
		return a, w, nil, err
	}
	if zone, err = p.zone(site.Config.Site.Zone()); err != nil {
		return a, w, nil, err
	}
	if s.Store != "" {
		if wish, err = p.wish(burn, d, zone); err != nil {
			return a, w, nil, err
		}
		rest = wish.Pick
	}
	w, err = rest.Window(ctx, a.Archive)
	return a, w, zone, err
}
