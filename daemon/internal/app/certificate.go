package app

import (
	"time"

	"fluewright/daemon/internal/enrol"
	"fluewright/daemon/internal/health"
	"fluewright/daemon/internal/message"
	"fluewright/daemon/internal/status"
)

// renewWithin is how long before its end a certificate is an alarm. Judgement: who renews it has
// been told for some weeks, by metric and by health, and now the owner is.
const renewWithin = 7 * 24 * time.Hour

// judgeCertificate looks at when the certificate for the broker ends. A clock that is not known
// to be right says nothing of that.
func (w *watchman) judgeCertificate(wall time.Time, trusted bool) string {
	ends := w.delivery().CertificateEnds
	switch {
	case ends.IsZero() || !trusted || !w.ownClock:
		return ""
	case !wall.Before(ends):
		return message.CertificateEnded
	case ends.Sub(wall) <= renewWithin:
		return message.CertificateEnding
	}
	return ""
}

// certificate is the one for the broker.
func (c *checkup) certificate(s *status.Status, short *shortfalls, ends time.Time) health.Check {
	const name = "certificate"
	until := ends.UTC().Format(time.DateOnly)
	switch {
	case short.certificate != "":
		return c.impaired(name, short.certificate)
	case s == nil || !s.ClockTrusted:
		return check(name, health.Note, "the one for the MQTT broker holds until %s; whether that is past cannot be told without a clock", until)
	case ends.Sub(s.Wall) <= enrol.Soon:
		return check(name, health.Note, "the one for the MQTT broker ends on %s; fluewright enrol --renew asks for the next", until)
	}
	return check(name, health.OK, "the one for the MQTT broker holds until %s", until)
}
