package notify

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"maps"
	"mime"
	"net/http"
	"strings"
	"text/template"
	"time"

	"fluewright/analysis/frame"
)

// Webhook posts a letter as JSON, or as a template makes it, to any address.
type Webhook struct {
	URL string
	// Header is sent along.
	Header http.Header
	// Template makes the body; nil: the JSON object of a Payload.
	Template *template.Template
	// ContentType is the body's; empty: application/json.
	ContentType string

	client *http.Client
}

// Payload is what a webhook sends, and what a template sees, under the names of the JSON
// object: {{.title}}, {{range .alarms}}{{.message}}{{end}}, {{json .text}}.
type Payload struct {
	Version  int            `json:"version"` // 1
	ID       string         `json:"id"`      // the same for a repeat
	Kind     string         `json:"kind"`    // "alarm", "reminder", "over", "summary", "test"
	Site     string         `json:"site"`
	Person   string         `json:"person"`
	Priority string         `json:"priority"` // "high", "medium", "low"
	Time     time.Time      `json:"time"`
	Trusted  bool           `json:"clock_trusted"`
	Title    string         `json:"title"` // at most about 100 characters
	Text     string         `json:"text"`
	Alarms   []PayloadAlarm `json:"alarms"`   // what is told
	Standing []PayloadAlarm `json:"standing"` // what stands beside
}

// PayloadAlarm is one alarm of a Payload.
type PayloadAlarm struct {
	Alarm      string     `json:"alarm"`
	Channel    string     `json:"channel"` // empty where it has none
	Occurrence uint32     `json:"occurrence"`
	Priority   string     `json:"priority"`
	State      string     `json:"state"` // "raised", "acknowledged", "set-aside", "over", "came-and-went"
	First      bool       `json:"first"`
	Since      time.Time  `json:"since"`
	Until      *time.Time `json:"until"` // null while it stands
	Message    string     `json:"message"`
	Action     string     `json:"action"`
}

// PayloadOf makes the data of a letter.
func PayloadOf(l Letter) Payload {
	return Payload{
		Version: 1, ID: l.ID, Kind: string(l.Kind), Site: l.Site, Person: l.Person, Priority: l.Priority.String(),
		Time: l.At, Trusted: l.Trusted, Title: l.Title, Text: l.Body,
		Alarms: payloadAlarms(l.Lines), Standing: payloadAlarms(l.Standing),
	}
}

func payloadAlarms(lines []Line) []PayloadAlarm {
	all := make([]PayloadAlarm, 0, len(lines))
	for _, l := range lines {
		a := PayloadAlarm{
			Alarm: string(l.Key.Name), Occurrence: l.Occurrence, Priority: l.Priority.String(), State: l.State,
			First: l.First, Since: l.Since, Message: l.Text.What, Action: l.Text.Action,
		}
		if l.Key.Channel < frame.Count {
			a.Channel = l.Key.Channel.String()
		}
		if !l.Until.IsZero() {
			a.Until = &l.Until
		}
		all = append(all, a)
	}
	return all
}

// ParseTemplate reads a template and tries it on a message that has everything in it. The
// function json writes a value so that it can stand in a JSON text.
func ParseTemplate(text, contentType string) (*template.Template, error) {
	t, err := template.New("webhook").Option("missingkey=error").Funcs(template.FuncMap{
		"json": func(v any) (string, error) {
			b, err := json.Marshal(v)
			return string(b), err
		},
	}).Parse(text)
	if err != nil {
		return nil, fmt.Errorf("read template: %w", err)
	}
	w := Webhook{Template: t, ContentType: contentType}
	if _, err := w.body(sample()); err != nil {
		return nil, err
	}
	return t, nil
}

func (w *Webhook) body(l Letter) ([]byte, error) {
	data, err := json.Marshal(PayloadOf(l))
	if err != nil || w.Template == nil {
		return data, err
	}
	var names map[string]any
	if err := json.Unmarshal(data, &names); err != nil {
		return nil, err
	}
	var b bytes.Buffer
	if err := w.Template.Execute(&b, names); err != nil {
		return nil, fmt.Errorf("fill in template: %w", err)
	}
	if isJSON(w.ContentType) && !json.Valid(b.Bytes()) {
		return nil, errors.New("fill in template: it makes no JSON; texts are written with {{json .title}}")
	}
	return b.Bytes(), nil
}

func isJSON(contentType string) bool {
	kind, _, err := mime.ParseMediaType(contentType)
	return contentType == "" || err == nil && (kind == "application/json" || strings.HasSuffix(kind, "+json"))
}

// Send posts the letter.
func (w *Webhook) Send(ctx context.Context, l Letter) error {
	body, err := w.body(l)
	if err != nil {
		return &Refusal{Final: true, Err: err}
	}
	req, err := http.NewRequestWithContext(ctx, http.MethodPost, w.URL, bytes.NewReader(body))
	if err != nil {
		return &Refusal{Final: true, Err: withoutAddress(err)}
	}
	maps.Copy(req.Header, w.Header)
	req.Header.Set("Content-Type", w.ContentType)
	req.Header.Set("Idempotency-Key", l.ID)
	return do(w.client, req)
}

// NewWebhook prepares a webhook.
func NewWebhook(w Webhook) *Webhook {
	w.client = newClient()
	if w.ContentType == "" {
		w.ContentType = "application/json"
	}
	return &w
}
