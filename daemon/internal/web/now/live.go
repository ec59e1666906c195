package now

import (
	"bytes"
	"context"
	"fmt"
	"net/http"
	"slices"
	"strings"
	"sync"
	"time"

	"fluewright/analysis"
	"fluewright/daemon/internal/status"
)

const (
	maxStreams = 64
	backlog    = 4 // events that a slow reader may lag behind
	interval   = time.Second
	apart      = 200 * time.Millisecond // two events for alarms, at least
	// A reader that takes nothing for so long is given up.
	writeTimeout = 10 * time.Second
)

// live sends the changing parts of the page to whoever has it open, and a beat each
// second, so that a page that hears nothing knows that what it shows is old. The beat is
// also what keeps middlemen from closing a quiet connection.
type live struct {
	// render returns the parts and the time of day that they are of.
	render func() (parts []byte, asOf string, err error)

	mu      sync.Mutex
	readers map[chan []byte]struct{}
	seq     uint64
	last    []byte
	ended   bool
}

func newLive(render func() ([]byte, string, error)) *live {
	return &live{render: render, readers: make(map[chan []byte]struct{})}
}

// run sends until ctx ends, and then ends every stream. What changes about an alarm does not
// wait for the next second.
func (l *live) run(ctx context.Context, changed <-chan *status.Status) {
	ticker := time.NewTicker(interval)
	defer ticker.Stop()
	var sent time.Time
	for {
		select {
		case <-ticker.C:
			l.send()
		case _, ok := <-changed:
			switch {
			case !ok:
				changed = nil // ctx has ended
			case time.Since(sent) >= apart:
				sent = time.Now()
				l.send()
			}
		case <-ctx.Done():
			l.end()
			return
		}
	}
}

// alarmChanged reports whether something happened to an alarm at a tick.
func alarmChanged(s *status.Status) bool {
	return slices.ContainsFunc(s.Assessment.Events, func(e analysis.Event) bool { return e.Kind == analysis.AlarmChanged })
}

// send gives every reader the beat, with the parts where they changed. A reader that does
// not keep up loses the oldest.
func (l *live) send() {
	l.mu.Lock()
	defer l.mu.Unlock()
	if len(l.readers) == 0 {
		return
	}
	parts, asOf, err := l.render()
	if err != nil {
		return // silence is what the page must hear
	}
	l.seq++
	event := encode(l.seq, asOf, nil)
	if !bytes.Equal(parts, l.last) {
		l.last = parts
		event = encode(l.seq, asOf, parts)
	}
	for ch := range l.readers {
		for sent := false; !sent; {
			select {
			case ch <- event:
				sent = true
			default:
				select {
				case <-ch:
				default:
				}
			}
		}
	}
}

// encode writes the parts, one data line for each of theirs, and the beat.
func encode(seq uint64, asOf string, parts []byte) []byte {
	var b bytes.Buffer
	if parts != nil {
		text := strings.ReplaceAll(strings.TrimRight(string(parts), "\n"), "\n", "\ndata: ")
		fmt.Fprintf(&b, "event: parts\nid: %d\ndata: %s\n\n", seq, text)
	}
	fmt.Fprintf(&b, "event: beat\nid: %d\ndata: %s\n\n", seq, asOf)
	return b.Bytes()
}

func (l *live) end() {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.ended = true
	for ch := range l.readers {
		close(ch)
		delete(l.readers, ch)
	}
}

// join returns a stream that begins with the parts as they are now, or nil where there
// are too many.
func (l *live) join() chan []byte {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.ended || len(l.readers) >= maxStreams {
		return nil
	}
	parts, asOf, err := l.render()
	if err != nil {
		return nil
	}
	l.last = nil // not all readers have the same now: the next event brings them together
	ch := make(chan []byte, backlog)
	ch <- append([]byte("retry: 3000\n"), encode(l.seq, asOf, parts)...)
	l.readers[ch] = struct{}{}
	return ch
}

func (l *live) leave(ch chan []byte) {
	l.mu.Lock()
	defer l.mu.Unlock()
	delete(l.readers, ch)
}

// ServeHTTP is one stream.
func (l *live) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	ch := l.join()
	if ch == nil {
		w.Header().Set("Retry-After", "10")
		http.Error(w, "Too many pages are open.", http.StatusServiceUnavailable)
		return
	}
	defer l.leave(ch)
	w.Header().Set("Content-Type", "text/event-stream")
	w.Header().Set("Cache-Control", "no-store")
	rc := http.NewResponseController(w)
	for {
		select {
		case event, ok := <-ch:
			if !ok {
				return
			}
			// A phone that has gone is given up after this, not after TCP's 15 minutes.
			if rc.SetWriteDeadline(time.Now().Add(writeTimeout)) != nil {
				return
			}
			if _, err := w.Write(event); err != nil {
				return
			}
			if rc.Flush() != nil {
				return
			}
		case <-r.Context().Done():
			return
		}
	}
}
