package app

import (
	"bufio"
	"bytes"
	"context"
	"crypto/tls"
	"crypto/x509"
	"errors"
	"fmt"
	"math/rand/v2"
	"net/http"
	"net/mail"
	"net/textproto"
	"os"
	"strings"
	"time"

	"fluewright/analysis"
	"fluewright/analysis/frame"
	"fluewright/daemon/internal/config"
	"fluewright/daemon/internal/notify"
	"fluewright/daemon/internal/status"
)

// acknowledgeWithin is how long an acknowledgement waits for the loop.
const acknowledgeWithin = 10 * time.Second

// buildNotify sets up whoever tells people, and the heartbeat, where the configuration has
// them. It returns nil where nobody is told.
func (h *house) buildNotify(l *loop, taken *takers, durable func(context.Context) error) (*notify.Courier, *notify.Heartbeat, error) {
	beat, err := h.heartbeat()
	if err != nil || !h.cfg.Notify.On() {
		return nil, beat, err
	}
	transports, err := Transports(h.cfg)
	if err != nil {
		return nil, nil, err
	}
	o := notify.Options{
		Site: h.cfg.Site.Name, Policy: Policy(h.cfg), Transports: transports, State: h.options.State,
		Durable: durable, Random: rand.Float64, Log: h.log,
		Acknowledge: func(ctx context.Context, a notify.Acknowledgement) error {
			ctx, cancel := context.WithTimeout(ctx, acknowledgeWithin)
			defer cancel()
			err := l.order(ctx, func(e *analysis.Engine) error { return acknowledge(e, a) })
			if err == nil {
				taken.note(a.By, a.Key, a.Occurrence)
			}
			return err
		},
	}
	if a := h.cfg.Notify.Alertmanager; a.URL != "" {
		header, err := headers(a.HeaderFile)
		if err != nil {
			return nil, nil, err
		}
		o.Alertmanager = notify.NewAlertmanager(notify.Alertmanager{URL: a.URL, Header: header})
	}
	c, err := notify.New(o)
	if err != nil {
		return nil, nil, fmt.Errorf("set up notification: %w", err)
	}
	l.after = append(l.after, c.Offer)
	h.tasks = append(h.tasks, task{"notify", c.Run})
	return c, beat, nil
}

// acknowledge takes an occurrence, and says so if somebody has taken it before: the server
// gives answers again to whoever asks again.
func acknowledge(e *analysis.Engine, a notify.Acknowledgement) error {
	for _, s := range e.Alarms() {
		if s.Key == a.Key && s.Occurrence == a.Occurrence && s.Acknowledged {
			return notify.ErrTaken
		}
	}
	return e.Acknowledge(a.Key, a.Occurrence)
}

// heartbeat sets up what says that the monitor is alive, nil where nobody wants to know.
func (h *house) heartbeat() (*notify.Heartbeat, error) {
	c := h.cfg.Notify.Heartbeat
	address, err := secretOr(c.URL, c.URLFile)
	if err != nil || address == "" {
		return nil, err
	}
	beat := notify.NewHeartbeat(address, c.Every, h.sees, h.log)
	h.tasks = append(h.tasks, task{"heartbeat", beat.Run})
	return beat, nil
}

// sees reports whether the loop judges, and something of the fire can be read.
func (h *house) sees() bool {
	age, ok := h.feed.Age()
	return ok && age <= h.cfg.Sampling.StaleAfter && seesFire(h.feed.Latest())
}

func seesFire(s *status.Status) bool {
	for _, c := range []frame.Channel{frame.Firebox, frame.Chamber, frame.Flue, frame.Draft} {
		if s.Frame.Inputs[c].Usable() {
			return true
		}
	}
	return false
}

// Policy is who is told by a configuration.
func Policy(cfg *config.Config) notify.Policy {
	n := cfg.Notify
	p := notify.Policy{Second: n.Second, Repeat: n.Repeat, Units: cfg.Site.Units}
	for _, one := range n.People {
		person := notify.Person{
			Name: one.Name, After: one.After, Quiet: notify.Quiet{From: one.QuietFrom, To: one.QuietTo}, Units: one.Units, Via: one.Via,
		}
		for _, pr := range one.Priorities {
			person.Takes[pr] = true
		}
		p.People = append(p.People, person)
	}
	return p
}

// Transports are those of a configuration, by their names, with their secrets read.
func Transports(cfg *config.Config) (map[string]notify.Transport, error) {
	all := make(map[string]notify.Transport)
	var errs []error
	for _, c := range cfg.Notify.Transports {
		var t notify.Transport
		var err error
		switch c.Kind {
		case "push":
			t, err = push(c)
		case "mail":
			t, err = mailer(c)
		case "webhook":
			t, err = webhook(c)
		}
		if err != nil {
			errs = append(errs, fmt.Errorf("set up transport %s: %w", c.Name, err))
			continue
		}
		all[c.Name] = t
	}
	return all, errors.Join(errs...)
}

func push(c config.Transport) (notify.Transport, error) {
	p := notify.Push{Server: c.Server}
	var errs [3]error
	p.Topic, errs[0] = secret(c.TopicFile)
	p.Answers, errs[1] = secret(c.AnswersFile)
	p.Token, errs[2] = secret(c.TokenFile)
	if p.Topic == p.Answers {
		errs[0] = errors.Join(errs[0], errors.New("topic and acknowledge-topic are the same: the telephone would show every answer"))
	}
	return notify.NewPush(p), errors.Join(errs[:]...)
}

func mailer(c config.Transport) (notify.Transport, error) {
	from, err := mail.ParseAddress(c.From)
	if err != nil {
		return nil, fmt.Errorf("read sender: %w", err)
	}
	to, err := mail.ParseAddress(c.To)
	if err != nil {
		return nil, fmt.Errorf("read recipient: %w", err)
	}
	m := &notify.Mail{Server: c.Server, TLS: c.TLS, User: c.User, From: *from, To: *to}
	if m.Password, err = secret(c.PasswordFile); err != nil {
		return nil, err
	}
	if c.CAFile != "" {
		pem, err := os.ReadFile(c.CAFile)
		if err != nil {
			return nil, fmt.Errorf("read certificates: %w", err)
		}
		m.Config = &tls.Config{RootCAs: x509.NewCertPool()}
		if !m.Config.RootCAs.AppendCertsFromPEM(pem) {
			return nil, fmt.Errorf("read certificates: there is none in %s", c.CAFile)
		}
	}
	return m, nil
}

func webhook(c config.Transport) (notify.Transport, error) {
	w := notify.Webhook{ContentType: c.ContentType}
	var err error
	if w.URL, err = secretOr(c.URL, c.URLFile); err != nil {
		return nil, err
	}
	if w.Header, err = headers(c.HeaderFile); err != nil {
		return nil, err
	}
	if c.TemplateFile != "" {
		text, err := os.ReadFile(c.TemplateFile)
		if err != nil {
			return nil, fmt.Errorf("read template: %w", err)
		}
		if w.Template, err = notify.ParseTemplate(string(text), c.ContentType); err != nil {
			return nil, err
		}
	}
	return notify.NewWebhook(w), nil
}

// secretOr is plain, or what a file holds.
func secretOr(plain, file string) (string, error) {
	if plain != "" {
		return plain, nil
	}
	return secret(file)
}

// secret is what a file holds, without the end of its line; empty without a file.
func secret(file string) (string, error) {
	if file == "" {
		return "", nil
	}
	text, err := os.ReadFile(file)
	if err != nil {
		return "", fmt.Errorf("read secret: %w", err)
	}
	s := strings.TrimSpace(string(text))
	if s == "" || strings.ContainsAny(s, "\r\n") {
		return "", fmt.Errorf("read secret: %s holds no single line", file)
	}
	return s, nil
}

// headers reads a file of them, one a line; nil without a file. What stands in it is never
// repeated.
func headers(file string) (http.Header, error) {
	if file == "" {
		return nil, nil
	}
	text, err := os.ReadFile(file)
	if err != nil {
		return nil, fmt.Errorf("read headers: %w", err)
	}
	text = append(bytes.TrimSpace(text), "\n\n"...)
	h, err := textproto.NewReader(bufio.NewReader(bytes.NewReader(text))).ReadMIMEHeader()
	if err != nil || len(h) == 0 {
		return nil, fmt.Errorf("read headers: %s has something else than \"Name: value\" in it", file)
	}
	return http.Header(h), nil
}

// beats is how often the heart has beaten, nil without one.
func beats(b *notify.Heartbeat) func() [notify.Refused + 1]uint64 {
	if b == nil {
		return nil
	}
	return b.Attempts
}
