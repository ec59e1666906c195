package notify

import (
	"bytes"
	"context"
	"encoding/json"
	"maps"
	"net/http"
	"strings"
	"time"

	"fluewright/analysis/alarm"
	"fluewright/analysis/frame"
)

// Alertmanager tells one of what stands, by version 2 of its interface. It is told again
// each minute while it stands, with an end far ahead: a monitor that stops must not look like
// an alarm that is over. Only an end that was seen is sent as one, for a quarter of an hour.
type Alertmanager struct {
	URL string // without /api/v2/alerts
	// Header is sent along.
	Header http.Header
	// Source is where the alarm can be looked at; it may be empty.
	Source string

	client *http.Client
}

const (
	// alertEvery is how often alerts are told again.
	alertEvery = time.Minute
	// alertEnd is how far ahead the end of an alert lies that stands.
	alertEnd = 365 * 24 * time.Hour
	// resolveFor is how long an end is told.
	resolveFor = 15 * time.Minute
)

// NewAlertmanager prepares one.
func NewAlertmanager(a Alertmanager) *Alertmanager {
	a.URL = strings.TrimRight(a.URL, "/")
	a.client = newClient()
	return &a
}

type alert struct {
	Labels      map[string]string `json:"labels"`
	Annotations map[string]string `json:"annotations"`
	StartsAt    time.Time         `json:"startsAt"`
	EndsAt      time.Time         `json:"endsAt"`
	Source      string            `json:"generatorURL,omitempty"`
}

// Alert is what an alertmanager is told of one alarm.
type Alert struct {
	Key           alarm.Key
	Priority      alarm.Priority
	Occurrence    uint32
	Acknowledged  bool
	Raised, Ended time.Time // Ended is zero while it stands
	Text          Text
}

// Alerts lists what stands, and what is over if its end was not told yet or not for
// resolveFor. What nobody told the alertmanager of does not end there.
func (d *Desk) Alerts(now Moment) []Alert {
	var all []Alert
	for _, o := range d.occurrences {
		if o.stage == over && !o.alertOwes && !(o.alerted && now.At-o.ended < resolveFor) {
			continue
		}
		a := Alert{
			Key: o.key, Priority: o.priority, Occurrence: o.no, Acknowledged: o.stage == taken,
			Raised: o.raisedWall, Text: o.texts[d.policy.Units],
		}
		if o.stage == over {
			a.Ended = o.endedWall
		}
		all = append(all, a)
	}
	return all
}

// Alerted takes that alerts have arrived, and reports whether that is to be remembered.
func (d *Desk) Alerted(alerts []Alert) (news bool) {
	for _, a := range alerts {
		o := d.find(a.Key)
		if o == nil || !a.Ended.IsZero() && (o.stage != over || o.no != a.Occurrence) {
			continue
		}
		owes := a.Ended.IsZero()
		news = news || !o.alerted || o.alertOwes != owes
		o.alerted, o.alertOwes = true, owes
	}
	return news
}

var severities = [...]string{alarm.Low: "info", alarm.Medium: "warning", alarm.High: "critical"}

// Push sends alerts. Their labels are the same for as long as an occurrence lasts.
func (a *Alertmanager) Push(ctx context.Context, site string, alerts []Alert, now time.Time) error {
	out := make([]alert, 0, len(alerts))
	for _, x := range alerts {
		one := alert{
			Labels: map[string]string{
				"alertname": "fluewright-" + string(x.Key.Name), "alarm": string(x.Key.Name), "site": site,
				"priority": x.Priority.String(), "severity": severities[x.Priority],
			},
			Annotations: map[string]string{
				"summary": x.Text.What, "action": x.Text.Action, "disclaimer": Disclaimer,
				"last_contact": now.UTC().Format(time.RFC3339),
			},
			StartsAt: x.Raised, EndsAt: now.Add(alertEnd), Source: a.Source,
		}
		if x.Key.Channel < frame.Count {
			one.Labels["channel"] = x.Key.Channel.String()
		}
		if x.Acknowledged {
			one.Annotations["acknowledged"] = "yes"
		}
		if !x.Ended.IsZero() {
			one.EndsAt = x.Ended
		}
		if one.EndsAt.Before(one.StartsAt) {
			one.StartsAt = one.EndsAt // the clock was set back: an end before the start is refused
		}
		out = append(out, one)
	}
	body, err := json.Marshal(out)
	if err != nil {
		return err
	}
	req, err := http.NewRequestWithContext(ctx, http.MethodPost, a.URL+"/api/v2/alerts", bytes.NewReader(body))
	if err != nil {
		return withoutAddress(err)
	}
	maps.Copy(req.Header, a.Header)
	req.Header.Set("Content-Type", "application/json")
	return do(a.client, req)
}

// pushAlerts keeps an alertmanager informed until ctx ends: when something has changed, and
// again each minute. Before the clock is known to be right nothing is sent: an end that lies
// ahead of a wrong clock can lie behind the receiver's.
func (c *Courier) pushAlerts(ctx context.Context) {
	failures := 0
	for {
		pause := alertEvery
		c.mu.Lock()
		alerts := c.alerts
		c.mu.Unlock()
		if now, ok := c.now(); ok && now.Trusted && len(alerts) > 0 {
			within, cancel := context.WithTimeout(ctx, sendWithin)
			err := c.o.Alertmanager.Push(within, c.o.Site, alerts, now.Wall)
			cancel()
			if ctx.Err() != nil {
				return
			}
			if err != nil && failures == 0 {
				c.o.Log.Warn("the alertmanager does not take alerts", "error", err)
			}
			r, after := resultOf(err)
			if err != nil {
				pause = max(min(backoff(failures, c.o.Random()), alertEvery), after)
				failures++
			} else {
				failures = 0
			}
			select {
			case c.done <- outcome{transport: alertmanagerName, result: r, alerts: alerts}:
			case <-ctx.Done():
			}
		}
		select {
		case <-ctx.Done():
			return
		case <-c.alert:
		case <-time.After(pause):
		}
	}
}
