package app

import (
	"fmt"

	dto "github.com/prometheus/client_model/go"

	"fluewright/daemon/internal/history"
	"fluewright/daemon/internal/remotewrite"
	"fluewright/daemon/internal/status"
)

// receivers are those who get the history by remote write.
type receivers struct{ senders []*remotewrite.Sender }

// build starts a sender for each receiver. live is what a scrape would show.
func (r *receivers) build(h *house, l *loop, store *history.Store, live func() ([]*dto.MetricFamily, error)) error {
	if store == nil {
		if len(h.cfg.RemoteWrite) > 0 {
			h.log.Error("nothing is sent by remote write, because no history is kept; give the program a state directory")
		}
		return nil
	}
	for _, c := range h.cfg.RemoteWrite {
		s, err := remotewrite.New(remotewrite.Options{
			Name: c.Name, URL: c.URL, Newer: c.Newer,
			Interval: c.Interval, Every: c.Every, BackFill: c.BackFill,
			User: c.User, PasswordFile: c.PasswordFile, TokenFile: c.TokenFile,
			CAFile: c.CAFile, CertificateFile: c.CertificateFile, KeyFile: c.KeyFile, Tenant: c.Tenant,
			Site: h.cfg.Site.Name, Software: h.options.Version, Fitted: h.cfg.Analysis.Fitted,
			Dir: h.options.State, Follow: store.Follow, Live: live,
			Trusted: func() bool { s := h.feed.Latest(); return s != nil && s.ClockTrusted },
			Log:     h.log,
		})
		if err != nil {
			return fmt.Errorf("set up remote write to %s: %w", c.Name, err)
		}
		r.senders = append(r.senders, s)
		h.tasks = append(h.tasks, task{"remote write to " + c.Name, s.Run})
	}
	l.after = append(l.after, func(s *status.Status) {
		if history.AlarmChanged(s) {
			for _, to := range r.senders {
				to.Wake()
			}
		}
	})
	return nil
}

// stats tells how they do.
func (r *receivers) stats() (all []remotewrite.Stats) {
	for _, s := range r.senders {
		all = append(all, s.Stats())
	}
	return all
}
