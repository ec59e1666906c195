package remotewrite

import (
	"maps"
	"slices"
	"strings"
	"time"

	dto "github.com/prometheus/client_model/go"
)

// lookBack is for how long receivers show the last sample of a series; half a minute is left
// for the way.
const lookBack = 5*time.Minute - 30*time.Second

// live makes series of what a scrape would show now: of what has changed, and of the rest
// before the receiver would take it for gone. A series that is gone is ended.
type live struct {
	site   string
	repeat int64 // ms after which what has not changed is sent again
	last   map[string]told
}

// told is what a receiver knows of a series.
type told struct {
	labels []label
	sample sample
}

func newLive(site string, every time.Duration) *live {
	return &live{site: site, repeat: (lookBack - every).Milliseconds(), last: map[string]told{}}
}

// ofRows reports whether a name's series come from rows.
func ofRows(name string) bool {
	switch name {
	case "fluewright_temperature_celsius", "fluewright_draft_pascals", "fluewright_ambient_pressure_pascals", "fluewright_channel_quality":
		return true
	}
	return false
}

// series returns what a receiver is to be told of families.
func (l *live) series(families []*dto.MetricFamily, now int64) (all []series) {
	there := map[string]bool{}
	for _, f := range families {
		if !strings.HasPrefix(f.GetName(), "fluewright_") || ofRows(f.GetName()) {
			continue
		}
		for _, m := range f.GetMetric() {
			s := series{labels: l.labels(f.GetName(), m)}
			var v float64
			switch {
			case m.Gauge != nil:
				s.kind, v = gauge, m.Gauge.GetValue()
			case m.Counter != nil:
				s.kind, v = counter, m.Counter.GetValue()
			default:
				continue
			}
			key := keyOf(s.labels)
			there[key] = true
			if before, known := l.last[key]; !known || before.sample.value != v || now-before.sample.ms >= l.repeat {
				s.samples = []sample{{now, v}}
				all = append(all, s)
			}
		}
	}
	for _, key := range slices.Sorted(maps.Keys(l.last)) {
		if !there[key] {
			all = append(all, series{labels: l.last[key].labels, kind: gauge, samples: []sample{{now, ended}}})
		}
	}
	return all
}

// taken remembers what a receiver has taken.
func (l *live) taken(all []series) {
	for _, s := range all {
		if v := s.samples[0]; v.value == v.value { // ended is no number
			l.last[keyOf(s.labels)] = told{s.labels, v}
		} else {
			delete(l.last, keyOf(s.labels))
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
