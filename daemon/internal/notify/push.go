package notify

import (
	"bufio"
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"net/http"
	"net/url"
	"strings"
	"time"

	"fluewright/analysis/alarm"
)

// Push publishes to a topic of a server that speaks ntfy's HTTP protocol (JSON publishing
// and subscribing as ntfy's documentation describes them). The button of a message posts its
// token to a second topic, which the monitor reads: both sides go out to the server, so
// that no router between them has to let anything in.
type Push struct {
	// Server is its address without a path; Topic is where the person listens.
	Server, Topic string
	// Answers is the topic of the button; empty: there is none. It must take posts of
	// anybody, since the telephone posts without a name; the token is what is trusted.
	Answers string
	// Token is sent as a bearer's; empty: none.
	Token string

	client *http.Client
}

// NewPush prepares a push transport.
func NewPush(p Push) *Push {
	p.Server = strings.TrimRight(p.Server, "/")
	p.client = newClient()
	return &p
}

type publication struct {
	Topic    string   `json:"topic"`
	Title    string   `json:"title"`
	Message  string   `json:"message"`
	Priority int      `json:"priority"`
	Tags     []string `json:"tags"`
	// Sequence replaces what was sent under the same name: a repeat shows once. Servers that
	// do not know it ignore it.
	Sequence string   `json:"sequence_id,omitempty"`
	Actions  []button `json:"actions,omitempty"`
}

type button struct {
	Action string `json:"action"`
	Label  string `json:"label"`
	URL    string `json:"url"`
	Method string `json:"method"`
	Body   string `json:"body"`
	Clear  bool   `json:"clear"`
}

// Send publishes the letter.
func (p *Push) Send(ctx context.Context, l Letter) error {
	out := publication{Topic: p.Topic, Title: l.Title, Message: l.Body, Sequence: l.ID}
	out.Priority, out.Tags = look(&l.Message)
	if p.Answers != "" && l.Token != "" {
		out.Actions = []button{{
			Action: "http", Label: "Acknowledge", URL: p.Server + "/" + url.PathEscape(p.Answers),
			Method: http.MethodPost, Body: l.Token, Clear: true,
		}}
	}
	body, err := json.Marshal(out)
	if err != nil {
		return &Refusal{Final: true, Err: err}
	}
	req, err := http.NewRequestWithContext(ctx, http.MethodPost, p.Server, bytes.NewReader(body))
	if err != nil {
		return &Refusal{Final: true, Err: withoutAddress(err)}
	}
	req.Header.Set("Content-Type", "application/json")
	p.authorize(req)
	return do(p.client, req)
}

func (p *Push) authorize(req *http.Request) {
	if p.Token != "" {
		req.Header.Set("Authorization", "Bearer "+p.Token)
	}
}

// look is the protocol's priority, 1 to 5, and the picture before the title.
func look(m *Message) (priority int, tags []string) {
	switch {
	case m.Kind == Over || m.Kind == Test:
		return 3, []string{"information_source"}
	case m.Priority == alarm.High:
		return 5, []string{"rotating_light"}
	case m.Priority == alarm.Medium:
		return 4, []string{"warning"}
	}
	return 2, []string{"information_source"}
}

const (
	// silence is how long the stream of answers may be without a line: servers write one
	// each 45 s.
	silence = 150 * time.Second
	// longestLine is more than an answer needs.
	longestLine = 16 << 10
)

// Listen hands every answer to take, until ctx ends or the connection does; since is what
// the server is asked from: "all", a duration or the id of the last answer. It returns the
// id to go on from.
func (p *Push) Listen(ctx context.Context, since string, take func(token string)) (string, error) {
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	watch := time.AfterFunc(silence, cancel)
	defer watch.Stop()
	address := p.Server + "/" + url.PathEscape(p.Answers) + "/json?since=" + url.QueryEscape(since)
	req, err := http.NewRequestWithContext(ctx, http.MethodGet, address, nil)
	if err != nil {
		return since, withoutAddress(err)
	}
	req.Header.Set("User-Agent", "fluewright")
	p.authorize(req)
	res, err := p.client.Do(req)
	if err != nil {
		return since, withoutAddress(err)
	}
	defer res.Body.Close()
	if err := answer(res); err != nil {
		return since, err
	}
	lines := bufio.NewScanner(res.Body)
	lines.Buffer(make([]byte, 0, 4096), longestLine)
	for lines.Scan() {
		watch.Reset(silence)
		id, token, ok := parseAnswer(lines.Bytes())
		if !ok {
			continue
		}
		if id != "" {
			since = id
		}
		take(token)
	}
	if err := lines.Err(); err != nil && !errors.Is(err, context.Canceled) {
		return since, fmt.Errorf("read answers: %w", err)
	}
	return since, nil
}

// parseAnswer reads one line of the stream; ok is false where it is no message. An id is
// letters and digits.
func parseAnswer(line []byte) (id, token string, ok bool) {
	var in struct {
		ID      string `json:"id"`
		Event   string `json:"event"`
		Message string `json:"message"`
	}
	if json.Unmarshal(line, &in) != nil || in.Event != "message" {
		return "", "", false
	}
	odd := func(r rune) bool { return !(r >= 'a' && r <= 'z' || r >= 'A' && r <= 'Z' || r >= '0' && r <= '9') }
	if len(in.ID) > 64 || strings.ContainsFunc(in.ID, odd) {
		in.ID = ""
	}
	return in.ID, strings.TrimSpace(in.Message), true
}
