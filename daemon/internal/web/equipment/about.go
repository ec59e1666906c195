package equipment

import (
	"fmt"
	"net/http"
	"time"

	"fluewright/daemon/internal/about"
)

type aboutView struct {
	Build         []fact
	Kept          []fact
	Impaired      string
	Configuration string
	Modules       []about.Module
}

func (p *Pages) serveAbout(w http.ResponseWriter, r *http.Request) {
	v := aboutView{Configuration: p.configuration, Modules: p.o.Build.Modules}
	b := &p.o.Build
	add := func(name, value string) {
		if value != "" {
			v.Build = append(v.Build, fact{name, value})
		}
	}
	add("Version", b.Version)
	revision := b.Revision
	if b.Changed {
		revision += ", with changes"
	}
	add("Revision", revision)
	add("Of", b.Time)
	add("Built with", b.Go)
	add("For", b.Platform)
	v.Kept, v.Impaired = p.kept()
	p.serve(w, r, p.about, "About", v)
}

// kept tells where what happened is kept, and how that does.
func (p *Pages) kept() (facts []fact, impaired string) {
	if p.o.Health == nil {
		return nil, ""
	}
	h := p.o.Health()
	add := func(name, value string) { facts = append(facts, fact{name, value}) }
	add("File", h.Path)
	add("Size", size(h.Bytes))
	if p.o.Span != nil {
		if from, to := p.o.Span(); from.Before(to) {
			add("From", p.long(from))
		}
	}
	add("State", h.State.String())
	written := "never since the start"
	if !h.LastCommit.IsZero() {
		written = fmt.Sprintf("%s ago, %d times since the start", time.Since(h.LastCommit).Truncate(time.Second), h.Commits)
	}
	add("Last written", written)
	add("Waiting in memory", fmt.Sprintf("%d rows, %d events", h.Pending, h.PendingEvents))
	for _, n := range []struct {
		name  string
		count uint64
	}{
		{"Rows lost", h.Dropped},
		{"Events lost", h.Lost},
		{"Failed attempts to write", h.Failures},
		{"Damaged pieces left out", h.Unreadable},
		{"Rows that went early, for want of space", h.Trimmed},
	} {
		if n.count > 0 {
			add(n.name, fmt.Sprint(n.count))
		}
	}
	if h.SetAside != "" {
		add("Set aside as damaged", h.SetAside)
	}
	if h.Impaired() {
		impaired = "The history does not do as it should"
		if h.Err != nil {
			impaired += ": " + h.Err.Error()
		}
		impaired += "."
	}
	return facts, impaired
}

func size(bytes int64) string {
	switch {
	case bytes >= 1<<20:
		return fmt.Sprintf("%.1f MiB", float64(bytes)/(1<<20))
	default:
		return fmt.Sprintf("%.0f KiB", float64(bytes)/(1<<10))
	}
}
