// Package notifytest is a push server of ntfy's HTTP protocol and the telephones that
// listen to it, for tests: as much of it as a monitor and a telephone use.
package notifytest

import (
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"net/http/httptest"
	"strings"
	"sync"
	"testing"
	"time"
)

// Published is what came in as a JSON publication.
type Published struct {
	Topic    string   `json:"topic"`
	Title    string   `json:"title"`
	Message  string   `json:"message"`
	Priority int      `json:"priority"`
	Tags     []string `json:"tags"`
	Sequence string   `json:"sequence_id"`
	Actions  []struct {
		Action string `json:"action"`
		Label  string `json:"label"`
		URL    string `json:"url"`
		Method string `json:"method"`
		Body   string `json:"body"`
		Clear  bool   `json:"clear"`
	} `json:"actions"`
	At            time.Time `json:"-"` // when it arrived
	Authorization string    `json:"-"`
}

// Press does what a telephone does when the first button is pressed.
func (p *Published) Press() error {
	if len(p.Actions) == 0 {
		return fmt.Errorf("%q has no button", p.Title)
	}
	a := p.Actions[0]
	req, err := http.NewRequest(a.Method, a.URL, strings.NewReader(a.Body))
	if err != nil {
		return err
	}
	res, err := http.DefaultClient.Do(req)
	if err != nil {
		return err
	}
	defer res.Body.Close()
	if res.StatusCode != http.StatusOK {
		return fmt.Errorf("the server answers %s", res.Status)
	}
	return nil
}

// Push is the server.
type Push struct {
	URL string
	// Arrived has each publication.
	Arrived chan Published

	mu     sync.Mutex
	status int  // what is answered instead, if not zero
	mute   bool // publications arrive and are never answered
	topics map[string][]string
	more   chan struct{} // closed when a topic has grown
}

// Start starts a server that ends with the test.
func Start(tb testing.TB) *Push {
	tb.Helper()
	p := &Push{Arrived: make(chan Published, 1000), topics: map[string][]string{}, more: make(chan struct{})}
	s := httptest.NewServer(p)
	tb.Cleanup(func() {
		s.CloseClientConnections()
		s.Close()
	})
	p.URL = s.URL
	return p
}

// Fail answers publications with a status; 0 takes them again.
func (p *Push) Fail(status int) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.status = status
}

// Mute takes publications and answers none until it is called again.
func (p *Push) Mute(yes bool) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.mute = yes
}

// Post puts a text into a topic.
func (p *Push) Post(topic, text string) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.topics[topic] = append(p.topics[topic], text)
	close(p.more)
	p.more = make(chan struct{})
}

// ServeHTTP serves publications, posts to a topic and the stream of one.
func (p *Push) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	switch topic := strings.Trim(r.URL.Path, "/"); {
	case r.Method == http.MethodPost && topic == "":
		p.publish(w, r)
	case r.Method == http.MethodPost:
		body, err := io.ReadAll(io.LimitReader(r.Body, 4096))
		if err != nil {
			http.Error(w, err.Error(), http.StatusBadRequest)
			return
		}
		p.Post(topic, string(body))
	case r.Method == http.MethodGet && strings.HasSuffix(topic, "/json"):
		p.stream(w, r, strings.TrimSuffix(topic, "/json"))
	default:
		http.NotFound(w, r)
	}
}

func (p *Push) publish(w http.ResponseWriter, r *http.Request) {
	var in Published
	if err := json.NewDecoder(r.Body).Decode(&in); err != nil {
		http.Error(w, err.Error(), http.StatusBadRequest)
		return
	}
	in.At, in.Authorization = time.Now(), r.Header.Get("Authorization")
	p.mu.Lock()
	status, mute := p.status, p.mute
	p.mu.Unlock()
	if status != 0 {
		w.WriteHeader(status)
		return
	}
	p.Arrived <- in
	if mute {
		<-r.Context().Done()
	}
}

// stream writes all that a topic has had, after the id that is asked from, and what comes.
func (p *Push) stream(w http.ResponseWriter, r *http.Request, topic string) {
	next := 0
	if _, err := fmt.Sscanf(r.URL.Query().Get("since"), "id%d", &next); err == nil {
		next++
	}
	line := func(v map[string]any) {
		_ = json.NewEncoder(w).Encode(v)
		w.(http.Flusher).Flush()
	}
	line(map[string]any{"event": "open", "topic": topic})
	for {
		p.mu.Lock()
		posted, more := p.topics[topic], p.more
		p.mu.Unlock()
		for ; next < len(posted); next++ {
			line(map[string]any{"id": fmt.Sprintf("id%d", next), "event": "message", "topic": topic, "message": posted[next]})
		}
		select {
		case <-more:
		case <-r.Context().Done():
			return
		}
	}
}
