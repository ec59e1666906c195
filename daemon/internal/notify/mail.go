package notify

import (
	"bytes"
	"context"
	"crypto/tls"
	"errors"
	"fmt"
	"mime"
	"mime/quotedprintable"
	"net"
	"net/mail"
	"net/smtp"
	"net/textproto"
	"time"

	"fluewright/analysis/alarm"
)

// Mail hands a letter to a mail server. Outside of this computer that goes through TLS or
// not at all, so that neither password nor letter can be read on the way.
type Mail struct {
	Server string // host:port
	// TLS says that the connection begins encrypted (port 465); otherwise it becomes so by
	// STARTTLS, which only a server on loopback may lack.
	TLS            bool
	Config         *tls.Config // nil: the system's certificates
	User, Password string      // no user: no authentication
	From, To       mail.Address
}

// Send delivers the letter to the server.
func (m *Mail) Send(ctx context.Context, l Letter) error {
	host, _, err := net.SplitHostPort(m.Server)
	if err != nil {
		return &Refusal{Final: true, Err: fmt.Errorf("read the mail server's address: %w", err)}
	}
	secure := &tls.Config{}
	if m.Config != nil {
		secure = m.Config.Clone()
	}
	secure.ServerName, secure.MinVersion = host, tls.VersionTLS12
	conn, err := (&net.Dialer{}).DialContext(ctx, "tcp", m.Server)
	if err != nil {
		return fmt.Errorf("reach the mail server: %w", err)
	}
	defer conn.Close()
	if end, ok := ctx.Deadline(); ok {
		_ = conn.SetDeadline(end)
	}
	stop := context.AfterFunc(ctx, func() { _ = conn.SetDeadline(time.Unix(1, 0)) })
	defer stop()
	if m.TLS {
		conn = tls.Client(conn, secure)
	}
	c, err := smtp.NewClient(conn, host)
	if err != nil {
		return mailError("greet the mail server", err)
	}
	if !m.TLS {
		switch ok, _ := c.Extension("STARTTLS"); {
		case ok:
			if err := c.StartTLS(secure); err != nil {
				return mailError("encrypt the connection to the mail server", err)
			}
		case !onLoopback(conn):
			return &Refusal{Final: true, Err: errors.New("the mail server offers no encryption (STARTTLS): nothing is sent to it")}
		}
	}
	if m.User != "" {
		if err := c.Auth(smtp.PlainAuth("", m.User, m.Password, host)); err != nil {
			return mailError("log in to the mail server", err)
		}
	}
	return m.deliver(c, l)
}

func (m *Mail) deliver(c *smtp.Client, l Letter) error {
	if err := c.Mail(m.From.Address); err != nil {
		return mailError("name the sender", err)
	}
	if err := c.Rcpt(m.To.Address); err != nil {
		return mailError("name the recipient", err)
	}
	w, err := c.Data()
	if err == nil {
		_, err = w.Write(m.text(l))
		err = errors.Join(err, w.Close())
	}
	if err != nil {
		return mailError("hand over the mail", err)
	}
	_ = c.Quit() // it is delivered, whatever comes of the farewell
	return nil
}

// text writes the letter as RFC 5322 has it. Whatever can hold any sign is encoded.
func (m *Mail) text(l Letter) []byte {
	var b bytes.Buffer
	header := func(name, value string) { fmt.Fprintf(&b, "%s: %s\r\n", name, value) }
	header("From", m.From.String())
	header("To", m.To.String())
	header("Subject", mime.QEncoding.Encode("utf-8", l.Title))
	header("Date", l.At.Format(time.RFC1123Z))
	header("Message-ID", "<"+l.ID+"@fluewright.invalid>")
	header("Auto-Submitted", "auto-generated") // RFC 3834
	if l.Priority == alarm.High && l.Kind != Test {
		header("Importance", "high")
	}
	header("MIME-Version", "1.0")
	header("Content-Type", "text/plain; charset=utf-8")
	header("Content-Transfer-Encoding", "quoted-printable")
	b.WriteString("\r\n")
	q := quotedprintable.NewWriter(&b)
	_, _ = q.Write([]byte(l.Body)) // into memory
	_ = q.Close()
	b.WriteString("\r\n")
	return b.Bytes()
}

// mailError sorts what a server says: 4xx may pass, 5xx does not (RFC 5321, 4.2.1).
func mailError(what string, err error) error {
	err = fmt.Errorf("%s: %w", what, err)
	var said *textproto.Error
	var unknown *tls.CertificateVerificationError
	if errors.As(err, &said) && said.Code >= 500 || errors.As(err, &unknown) {
		return &Refusal{Final: true, Err: err}
	}
	return err
}

func onLoopback(c net.Conn) bool {
	a, ok := c.RemoteAddr().(*net.TCPAddr)
	return ok && a.IP.IsLoopback()
}
