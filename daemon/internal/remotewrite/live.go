package remotewrite

import (
	"slices"
	"strings"

	dto "github.com/prometheus/client_model/go"
)

// live makes series of what a scrape would show now. A series that is gone is ended.
type live struct {
	site string
	skip func(name string) bool
	last map[string][]label // what the receiver was told of, by its labels
}

// series returns what a receiver is to be told of families.
func (l *live) series(families []*dto.MetricFamily, now int64) (all []series) {
	there := map[string]bool{}
	for _, f := range families {
		if !strings.HasPrefix(f.GetName(), "fluewright_") || l.skip(f.GetName()) {
			continue
		}
		for _, m := range f.GetMetric() {
			s := series{labels: l.labels(f.GetName(), m), help: f.GetHelp()}
			var v float64
			switch {
			case m.Gauge != nil:
				s.kind, v = gauge, m.Gauge.GetValue()
			case m.Counter != nil:
				s.kind, v = counter, m.Counter.GetValue()
			default:
				continue
			}
			s.samples = []sample{{now, v}}
			there[keyOf(s.labels)] = true
			all = append(all, s)
		}
	}
	for key, labels := range l.last {
		if !there[key] {
			all = append(all, series{labels: labels, kind: gauge, samples: []sample{{now, ended}}})
		}
	}
	return all
}

// told remembers what a receiver has taken.
func (l *live) told(all []series) {
	l.last = map[string][]label{}
	for _, s := range all {
		if v := s.samples[0].value; v == v { // ended is no number
			l.last[keyOf(s.labels)] = s.labels
		}
	}
}

// labels are a metric's own and the site, sorted. An empty one is none, by the protocol.
func (l *live) labels(name string, m *dto.Metric) []label {
	all := []label{{"__name__", name}, {"site", l.site}}
	for _, p := range m.GetLabel() {
		if p.GetName() != "site" && p.GetValue() != "" {
			all = append(all, label{p.GetName(), p.GetValue()})
		}
	}
	slices.SortFunc(all, func(a, b label) int { return strings.Compare(a.name, b.name) })
	return all
}

func keyOf(labels []label) string {
	var b strings.Builder
	for _, l := range labels {
		b.WriteString(l.name + "\x00" + l.value + "\x00")
	}
	return b.String()
}
