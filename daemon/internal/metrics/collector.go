package metrics

import (
	"crypto/sha256"
	"fmt"
	"maps"
	"runtime"
	"slices"
	"time"

	"github.com/prometheus/client_golang/prometheus"

	"fluewright/analysis/alarm"
	"fluewright/analysis/burn"
	"fluewright/analysis/frame"
	"fluewright/daemon/internal/history"
	"fluewright/daemon/internal/mqtt"
	"fluewright/daemon/internal/mqtt/broker"
	"fluewright/daemon/internal/notify"
	"fluewright/daemon/internal/status"
	"fluewright/daemon/internal/verdict"
)

// collector writes the newest tick at each scrape.
type collector struct{ o Options }

// Describe lists what may be collected.
func (c *collector) Describe(ch chan<- *prometheus.Desc) {
	for _, d := range declared {
		ch <- d
	}
}

// sink takes samples.
type sink chan<- prometheus.Metric

func (s sink) put(m series, v float64, labels ...string) {
	s <- prometheus.MustNewConstMetric(m.desc, m.kind, v, labels...)
}

func (s sink) flag(m series, v bool, labels ...string) {
	n := 0.0
	if v {
		n = 1
	}
	s.put(m, n, labels...)
}

// Collect writes the newest tick.
func (c *collector) Collect(ch chan<- prometheus.Metric) {
	out := sink(ch)
	out.put(buildInfo, 1, c.o.Version, runtime.Version(), runtime.GOARCH)
	out.put(configInfo, 1, fmt.Sprintf("%.6x", sha256.Sum256([]byte(c.o.Configuration))))
	out.put(siteInfo, 1, c.o.Site)

	s := c.o.Feed.Latest()
	age, ok := c.o.Feed.Age()
	fresh := ok && age <= c.o.StaleAfter
	if s == nil {
		s = &status.Status{}
		s.Assessment.Alarms = c.o.Alarms
	}
	c.readings(out, s, fresh)
	chips(out, s)
	out.put(supplyDips, float64(s.Supply.Dips))
	judgements(out, s, fresh)

	loop := c.o.Loop()
	out.put(frames, float64(s.Seq))
	out.put(framesLate, float64(loop.Late))
	out.put(framesMissed, float64(loop.Missed))
	out.put(frameLateness, loop.Lateness.Seconds())
	if !s.Wall.IsZero() {
		out.put(frameTimestamp, seconds(s.Wall))
	}
	out.flag(clock, s.ClockTrusted)

	if c.o.RemoteWrite != nil {
		for _, r := range c.o.RemoteWrite() {
			remote(out, r)
		}
	}

	m := c.o.MQTT()
	out.flag(mqttConnected, m.Connected)
	out.put(mqttConnects, float64(m.Connects))
	out.put(mqttPublished, float64(m.Published))
	out.put(mqttFailed, float64(m.Failed))
	out.put(mqttDropped, float64(m.Dropped))
	out.put(mqttPending, float64(m.Pending))
	if !m.CertificateEnds.IsZero() {
		out.put(mqttExpiry, seconds(m.CertificateEnds))
	}
	if m.Outbox != nil {
		outbox(out, m.Outbox)
	}
	if c.o.Broker != nil {
		within(out, c.o.Broker())
	}
	if c.o.Notify != nil {
		told(out, c.o.Notify())
	}
	if c.o.Heartbeat != nil {
		for r, n := range c.o.Heartbeat() {
			out.put(heartbeats, float64(n), notify.Result(r).String())
		}
	}
	if c.o.Commands != nil {
		for result, n := range c.o.Commands() {
			out.put(commandsTotal, float64(n), result)
		}
	}
	if c.o.History != nil {
		past(out, c.o.History())
	}
}

// outbox writes what the broker lacks of the history.
func outbox(out sink, o *mqtt.Outbox) {
	out.put(mqttOutboxEvents, float64(o.Events))
	out.put(mqttOutboxRows, float64(o.Rows))
	if !o.Oldest.IsZero() {
		out.put(mqttOutboxOldest, seconds(o.Oldest))
	}
	out.put(mqttOutboxDropped, float64(o.TooOld), "too-old")
	out.put(mqttOutboxDropped, float64(o.NoTime), "no-clock")
}

// within writes how the broker within the program does.
func within(out sink, b broker.Stats) {
	out.put(brokerClients, float64(b.Clients))
	out.put(brokerRetained, float64(b.Retained))
	out.put(brokerRetainedBytes, float64(b.RetainedBytes))
	for why, n := range b.Refused {
		out.put(brokerRefused, float64(n), why)
	}
	out.put(brokerSaveErrors, float64(b.SaveErrors))
}

// told writes how messages to people do.
func told(out sink, n notify.Stats) {
	for _, transport := range slices.Sorted(maps.Keys(n.Attempts)) {
		for r, count := range n.Attempts[transport] {
			out.put(notifyAttempts, float64(count), transport, notify.Result(r).String())
		}
		if t := n.Delivered[transport]; !t.IsZero() {
			out.put(notifyDelivered, seconds(t), transport)
		}
	}
	out.put(notifyPending, float64(n.Pending))
	out.put(notifyAcknowledged, float64(n.Acknowledged), "accepted")
	out.put(notifyAcknowledged, float64(n.Unaccepted), "refused")
}

// past writes how the history does.
func past(out sink, h history.Health) {
	for _, s := range history.States() {
		out.flag(historyState, s == h.State, s.String())
	}
	out.put(historyBytes, float64(h.Bytes))
	out.put(historyUsed, float64(h.UsedBytes))
	if !h.LastCommit.IsZero() {
		out.put(historyCommit, seconds(h.LastCommit))
	}
	out.put(historyCommits, float64(h.Commits))
	out.put(historyErrors, float64(h.Failures))
	out.put(historyRows, float64(h.Pending))
	out.put(historyEvents, float64(h.PendingEvents))
	out.put(historyDropped, float64(h.Dropped))
	out.put(historyLost, float64(h.Lost))
	out.put(historyTrimmed, float64(h.Trimmed))
	out.put(historyUnreadable, float64(h.Unreadable))
}

// readings writes the channels. When the loop stands still, what it last read is stale
// whatever it was then.
func (c *collector) readings(out sink, s *status.Status, fresh bool) {
	age := func(in frame.Input) frame.Input {
		if !fresh && in.Usable() {
			in.Quality = frame.Stale
		}
		return in
	}
	for _, ch := range frame.All() {
		if !c.o.Fitted[ch] {
			continue
		}
		in := age(s.Frame.Inputs[ch])
		for q := frame.Absent; q <= frame.Good; q++ {
			out.flag(quality, in.Quality == q, ch.String(), q.String())
		}
		if t := s.Taken[ch]; !t.IsZero() {
			out.put(lastReading, seconds(t), ch.String())
		}
		if !verdict.Readable(in) {
			continue
		}
		switch ch {
		case frame.Draft:
			out.put(draft, in.Value)
		case frame.Ambient:
			out.put(ambient, in.Value)
		default:
			out.put(temperature, in.Value, ch.String())
		}
	}
	if in := age(s.Assessment.Draft); verdict.Readable(in) {
		out.put(draftAverage, in.Value)
	}
}

// chips writes the health of the sensors.
func chips(out sink, s *status.Status) {
	for _, c := range s.Sensors {
		address := ""
		if c.Address != 0 {
			address = fmt.Sprintf("0x%02x", c.Address)
		}
		out.put(sensorInfo, 1, c.Name, c.Chip, c.Bus, address)
		out.flag(sensorUp, c.Up, c.Name)
		out.put(sensorSamples, float64(c.Samples), c.Name)
		out.put(sensorDuration, c.Took.Seconds(), c.Name)
		out.put(sensorSpikes, float64(c.Path.Spikes), c.Name)
		out.put(sensorFrozen, float64(c.Path.Frozen), c.Name)
		out.put(sensorJumps, float64(c.Path.Jumps), c.Name)
		out.put(sensorClamps, float64(c.LagClamps), c.Name)
		for _, code := range slices.Sorted(maps.Keys(c.Faults)) {
			out.put(sensorErrors, float64(c.Faults[code]), c.Name, string(code))
		}
	}
}

// judgements writes alarms and phase.
func judgements(out sink, s *status.Status, fresh bool) {
	for _, a := range s.Assessment.Alarms {
		name, channel := string(a.Key.Name), ""
		if a.Key.Channel < frame.Count {
			channel = a.Key.Channel.String()
		}
		out.flag(alarmActive, a.State.Standing(), name, channel, a.Priority.String())
		out.flag(alarmJudged, fresh && a.Judged(), name, channel)
		out.put(alarmOccurrences, float64(a.Occurrence), name, channel)
	}
	m := &s.Assessment.AlarmMetrics
	for p := alarm.Low; p <= alarm.High; p++ {
		out.put(alarmsRaised, float64(m.Raised[p]), p.String())
	}
	for which, n := range map[string]int{
		"standing": m.Standing, "unacknowledged": m.Unacknowledged, "shelved": m.Shelved,
		"suppressed": m.Suppressed, "stale": m.Stale, "chattering": m.Chattering,
	} {
		out.put(alarms, float64(n), which)
	}
	out.flag(alarmFlood, m.Flood)
	out.put(alarmFloods, float64(m.Floods))
	now := s.Assessment.Phase
	if !fresh {
		now = burn.Unknown
	}
	for _, p := range append([]burn.Phase{burn.Unknown}, burn.Phases()...) {
		out.flag(phase, p == now, p.String())
	}
}

func seconds(t time.Time) float64 { return float64(t.UnixMilli()) / 1000 }
