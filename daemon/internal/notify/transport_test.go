package notify

import (
	"context"
	"encoding/json"
	"io"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	"fluewright/analysis/alarm"
	"fluewright/analysis/frame"
	"fluewright/daemon/internal/notify/notifytest"
)

func TestAnswersAreSorted(t *testing.T) {
	tests := []struct {
		status int
		header string
		result Result
		after  time.Duration
	}{
		{200, "", Delivered, 0},
		{204, "", Delivered, 0},
		{302, "", Refused, 0},
		{400, "", Refused, 0},
		{401, "60", Refused, 0},
		{404, "", Refused, 0},
		{408, "", Failed, 0},
		{429, "30", Failed, 30 * time.Second},
		{503, "86400", Failed, longestAfter},
		{500, "soon", Failed, 0},
	}
	for _, tt := range tests {
		calls := 0
		s := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) {
			calls++
			w.Header().Set("Location", "/elsewhere")
			if tt.header != "" {
				w.Header().Set("Retry-After", tt.header)
			}
			w.WriteHeader(tt.status)
		}))
		err := NewWebhook(Webhook{URL: s.URL + "/secret"}).Send(t.Context(), sample())
		s.Close()
		if r, after := resultOf(err); r != tt.result || after != tt.after || calls != 1 {
			t.Errorf("%d: %v after %v in %d calls, want %v after %v", tt.status, r, after, calls, tt.result, tt.after)
		}
		if err != nil && strings.Contains(err.Error(), "secret") {
			t.Errorf("%d: the address is told: %v", tt.status, err)
		}
	}
}

func TestARetryAfterCanBeADate(t *testing.T) {
	now := time.Date(2026, 1, 17, 12, 0, 0, 0, time.UTC)
	if got := retryAfter("Sat, 17 Jan 2026 12:01:30 GMT", now); got != 90*time.Second {
		t.Errorf("got %v", got)
	}
}

func TestNobodyThere(t *testing.T) {
	s := httptest.NewServer(nil)
	s.Close()
	err := NewWebhook(Webhook{URL: s.URL + "/secret"}).Send(t.Context(), sample())
	if r, _ := resultOf(err); r != Failed || strings.Contains(err.Error(), "secret") {
		t.Errorf("got %v, %v", r, err)
	}
}

// A receiver that takes the connection and never answers costs one attempt's time.
func TestAReceiverThatHangs(t *testing.T) {
	hold := make(chan struct{})
	s := httptest.NewServer(http.HandlerFunc(func(http.ResponseWriter, *http.Request) { <-hold }))
	defer s.Close()
	defer close(hold)
	ctx, cancel := context.WithTimeout(t.Context(), 50*time.Millisecond)
	defer cancel()
	if r, _ := resultOf(NewWebhook(Webhook{URL: s.URL}).Send(ctx, sample())); r != Failed {
		t.Errorf("got %v", r)
	}
}

// receiver keeps what it was sent last.
func receiver(t *testing.T) (url string, body func() (string, http.Header)) {
	var text string
	var header http.Header
	s := httptest.NewServer(http.HandlerFunc(func(_ http.ResponseWriter, r *http.Request) {
		b, _ := io.ReadAll(r.Body)
		text, header = string(b), r.Header.Clone()
	}))
	t.Cleanup(s.Close)
	return s.URL, func() (string, http.Header) { return text, header }
}

func TestWebhook(t *testing.T) {
	url, got := receiver(t)
	l := sample()
	if err := NewWebhook(Webhook{URL: url, Header: http.Header{"Authorization": {"Bearer x"}}}).Send(t.Context(), l); err != nil {
		t.Fatal(err)
	}
	body, header := got()
	var p Payload
	if err := json.Unmarshal([]byte(body), &p); err != nil {
		t.Fatal(err)
	}
	if p.Version != 1 || p.ID != l.ID || p.Title != l.Title || len(p.Alarms) != 2 || p.Alarms[0].Channel != "flue" || p.Alarms[1].Until == nil || p.Alarms[0].Until != nil {
		t.Errorf("got %+v", p)
	}
	if header.Get("Authorization") != "Bearer x" || header.Get("Content-Type") != "application/json" || header.Get("Idempotency-Key") != l.ID {
		t.Errorf("got %v", header)
	}
}

func TestTemplates(t *testing.T) {
	url, got := receiver(t)
	l := sample()
	tmpl, err := ParseTemplate(`{"text": {{json .title}}, "first": {{json (index .alarms 0).message}}}`, "application/json")
	if err != nil {
		t.Fatal(err)
	}
	if err := NewWebhook(Webhook{URL: url, Template: tmpl}).Send(t.Context(), l); err != nil {
		t.Fatal(err)
	}
	body, _ := got()
	var m map[string]string
	if err := json.Unmarshal([]byte(body), &m); err != nil || m["text"] != l.Title || m["first"] != l.Lines[0].Text.What {
		t.Errorf("%v: got %s", err, body)
	}
	for text, want := range map[string]string{
		`{"text": "{{.text}}"}`:  "it makes no JSON",
		`{"text": {{json .txt}}`: "txt",
		`{{`:                     "read template",
	} {
		if _, err := ParseTemplate(text, "application/json"); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%s: %v", text, err)
		}
	}
	if _, err := ParseTemplate("{{.title}}", "text/plain"); err != nil {
		t.Errorf("plain text: %v", err)
	}
}

func TestPushAndTheWayBack(t *testing.T) {
	server := notifytest.Start(t)
	p := NewPush(Push{Server: server.URL, Topic: "owner", Answers: "answers", Token: "access"})
	l := sample()
	if err := p.Send(t.Context(), l); err != nil {
		t.Fatal(err)
	}
	in := <-server.Arrived
	if in.Topic != "owner" || in.Title != l.Title || in.Message != l.Body || in.Priority != 5 || in.Sequence != l.ID || in.Authorization != "Bearer access" {
		t.Errorf("got %+v", in)
	}
	if err := in.Press(); err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(t.Context())
	var tokens []string
	since, err := p.Listen(ctx, "12h", func(token string) {
		tokens = append(tokens, token)
		cancel()
	})
	if len(tokens) != 1 || tokens[0] != "token" || since != "id0" {
		t.Errorf("%v: got %q and %q", err, tokens, since)
	}
}

func TestTokens(t *testing.T) {
	s := Sealer{[]byte("0123456789abcdef0123456789abcdef")}
	asked := []Line{
		{Key: overheat, Occurrence: 3, State: "raised"},
		{Key: spillage, Occurrence: 1, State: "raised"},
	}
	token := s.Seal("owner", asked)
	got, err := s.Open(token)
	want := []Acknowledgement{{overheat, 3, "owner"}, {spillage, 1, "owner"}}
	if err != nil || len(got) != 2 || got[0] != want[0] || got[1] != want[1] {
		t.Errorf("%v: got %v", err, got)
	}
	for name, bad := range map[string]string{
		"empty": "", "another key": (Sealer{[]byte("x")}).Seal("owner", asked), "another occurrence": strings.Replace(token, ":3", ":4", 1),
		"shortened": token[:len(token)-1], "longer": token + " ", "a test's": s.SealTest("1"), "huge": strings.Repeat("x ", 5000),
	} {
		if got, err := s.Open(bad); err == nil {
			t.Errorf("%s is accepted as %v", name, got)
		}
	}
	if !s.OpensTest(s.SealTest("1"), "1") || s.OpensTest(s.SealTest("1"), "2") || s.OpensTest(token, "1") {
		t.Error("tokens of tests are mixed up")
	}
	if s.Seal("owner", nil) != "" {
		t.Error("there is a token for nothing")
	}
}

func FuzzOpen(f *testing.F) {
	s := Sealer{[]byte("0123456789abcdef0123456789abcdef")}
	good := s.Seal("owner", []Line{{Key: overheat, Occurrence: 3}})
	f.Add(good)
	f.Add("fw1 b3duZXI overheat/flue:3 AAAA")
	f.Fuzz(func(t *testing.T, token string) {
		if got, err := s.Open(token); err == nil && token != good {
			t.Errorf("%q is accepted as %v", token, got)
		}
		parseAnswer([]byte(token))
	})
}

func TestWords(t *testing.T) {
	at := time.Date(2026, 1, 17, 3, 12, 0, 0, time.UTC)
	hot := Line{
		Key: alarm.Key{Name: alarm.Overheat, Channel: frame.Flue}, Priority: alarm.High, State: "raised", Since: at, Times: 1,
		Text: Text{What: "flue: too hot (1200 °F, limit 1000 °F)", Action: "Keep the doors shut."},
	}
	over := hot
	over.State, over.Until = "over", at.Add(28*time.Minute)
	gone := over
	gone.State, gone.Times = "came-and-went", 3
	message := func(k Kind, now time.Time, lines ...Line) Message {
		return Message{Kind: k, Site: "cellar", Priority: alarm.High, At: now, Trusted: true, Lines: lines}
	}
	tests := map[string]struct {
		m     Message
		title string
		has   []string
	}{
		"alarm": {
			message(Alarm, at, hot), "ALARM: flue: too hot (1200 °F, limit 1000 °F) - cellar, since 03:12",
			[]string{"Do first: Keep the doors shut."},
		},
		"reminder": {message(Reminder, at.Add(time.Hour), hot), "STILL ALARM: flue: too hot (1200 °F, limit 1000 °F) - cellar, since 03:12", nil},
		"over": {
			message(Over, at.Add(time.Hour), over), "Over: flue: too hot (1200 °F, limit 1000 °F) - cellar, 03:12 to 03:40",
			[]string{"Only this is over"},
		},
		"over while another stands": {
			func() Message {
				m := message(Over, at.Add(time.Hour), over)
				m.Standing = []Line{hot}
				return m
			}(), "Over, but OTHERS STAND: flue: too hot (1200 °F, limit 1000 °F) - cellar, 03:12 to 03:40",
			[]string{"Still there: flue: too hot (1200 °F, limit 1000 °F), since 03:12."},
		},
		"late": {
			message(Summary, at.Add(148*time.Minute), hot, gone), "ALARM: flue: too hot (1200 °F, limit 1000 °F) - cellar, since 03:12 (+1)",
			[]string{"could not be delivered before 05:40", "Came and went, not told in time", "03:12 to 03:40, 3 times"},
		},
		"yesterday": {message(Reminder, at.Add(24*time.Hour), hot), "STILL ALARM: flue: too hot (1200 °F, limit 1000 °F) - cellar, since Sat 17 Jan 03:12", nil},
	}
	for name, tt := range tests {
		l := Write(tt.m, "")
		if l.Title != tt.title {
			t.Errorf("%s: title %q, want %q", name, l.Title, tt.title)
		}
		for _, text := range append(tt.has, Disclaimer) {
			if !strings.Contains(l.Body, text) {
				t.Errorf("%s: %q is not in\n%s", name, text, l.Body)
			}
		}
		if strings.Contains(l.Body, "Do first") && tt.m.Kind == Over {
			t.Errorf("%s: something to do", name)
		}
	}
}

// However much there is to say, it stays short, whole and closed by the disclaimer.
func TestWordsStayShort(t *testing.T) {
	long := Line{
		Key: overheat, Priority: alarm.High, State: "raised", Since: noon, Times: 1,
		Text: Text{What: strings.Repeat("é", 500), Action: strings.Repeat("ü", 3000)},
	}
	m := Message{Kind: Alarm, Site: strings.Repeat("s", 32), At: noon.Add(48 * time.Hour)}
	for range 20 {
		m.Lines = append(m.Lines, long)
		m.Standing = append(m.Standing, long)
	}
	l := Write(m, "")
	if n := utf8.RuneCountInString(l.Title); n > lockScreen {
		t.Errorf("the title has %d characters", n)
	}
	if len(l.Body) > 4000 || !strings.HasSuffix(l.Body, "\n"+Disclaimer) || !utf8.ValidString(l.Body) {
		t.Errorf("the body has %d bytes and ends in %q", len(l.Body), l.Body[len(l.Body)-100:])
	}
}
