package broker

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"log/slog"
	"os"
	"path/filepath"
	"sync"
	"time"

	"fluewright/daemon/internal/atomicfile"
)

const (
	// FileName is the name of the file that outlasts the program.
	FileName = "retained.json"
	// BrokenName is that of one that could not be read and was set aside.
	BrokenName = "retained.json.broken"
	// shelfVersion is that of the file.
	shelfVersion = 1
)

// Keep says which retained messages outlast the program, kill and power cut included.
type Keep struct {
	// Dir is the directory of the file.
	Dir string
	// Which returns what a message says in short, empty if it need not be kept. The file is
	// written when that changes, not for each message: flash is scarce.
	Which func(topic string, payload []byte) string
}

// shelf is the file of those messages. Writing is a goroutine's: storage that hangs must
// not hold an alarm up.
type shelf struct {
	keep Keep
	log  *slog.Logger

	mu       sync.Mutex
	messages map[string]kept
	failures uint64
	failing  bool

	wake chan struct{} // holds one token while there is something to write
	stop chan struct{}
	done chan struct{}
}

type kept struct {
	says    string
	payload []byte
}

// paper is the file's content.
type paper struct {
	Version  int     `json:"version"`
	Messages []sheet `json:"messages"`
}

type sheet struct {
	Topic   string `json:"topic"`
	Payload string `json:"payload"`
}

func newShelf(k Keep, log *slog.Logger) *shelf {
	return &shelf{
		keep: k, log: log, messages: make(map[string]kept),
		wake: make(chan struct{}, 1), stop: make(chan struct{}), done: make(chan struct{}),
	}
}

// load returns what an earlier run has kept of the topics that there are still. An alarm that
// cannot be judged any more would stand for ever. A file that cannot be read is set aside: a
// broker without its memory still serves.
func (s *shelf) load(known map[string]bool) map[string][]byte {
	all := make(map[string][]byte)
	p, err := readPaper(filepath.Join(s.keep.Dir, FileName))
	if err != nil {
		err = errors.Join(err, os.Rename(filepath.Join(s.keep.Dir, FileName), filepath.Join(s.keep.Dir, BrokenName)))
		s.log.Error("what was retained in the last run is lost; the file is set aside", "error", err)
		return all
	}
	for _, m := range p.Messages {
		payload := []byte(m.Payload)
		if says := s.keep.Which(m.Topic, payload); known[m.Topic] && says != "" {
			all[m.Topic] = payload
			s.messages[m.Topic] = kept{says, payload}
		}
	}
	return all
}

func readPaper(name string) (p paper, err error) {
	file, err := os.Open(name)
	if errors.Is(err, fs.ErrNotExist) {
		return p, nil
	}
	if err != nil {
		return p, err
	}
	defer file.Close()
	text, err := io.ReadAll(io.LimitReader(file, 2*mostRetainedBytes))
	if err != nil {
		return p, err
	}
	return parsePaper(text)
}

func parsePaper(text []byte) (p paper, err error) {
	if err := json.Unmarshal(text, &p); err != nil {
		return paper{}, fmt.Errorf("read what was retained: %w", err)
	}
	if p.Version != shelfVersion {
		return paper{}, fmt.Errorf("read what was retained: version %d, want %d", p.Version, shelfVersion)
	}
	return p, nil
}

// put notes what a topic retains now.
func (s *shelf) put(topic string, payload []byte) {
	says := ""
	if len(payload) > 0 {
		says = s.keep.Which(topic, payload)
	}
	s.mu.Lock()
	was := s.messages[topic].says
	if says == "" {
		delete(s.messages, topic)
	} else {
		s.messages[topic] = kept{says, append([]byte(nil), payload...)}
	}
	s.mu.Unlock()
	if says != was {
		s.rouse()
	}
}

func (s *shelf) rouse() {
	select {
	case s.wake <- struct{}{}:
	default:
	}
}

// again is how long after a failure it is tried anew.
const again = 10 * time.Second

// run writes until close.
func (s *shelf) run() {
	defer close(s.done)
	for {
		select {
		case <-s.wake:
		case <-s.stop:
			select {
			case <-s.wake:
				_ = s.write()
			default:
			}
			return
		}
		if s.write() != nil {
			select {
			case <-time.After(again):
			case <-s.stop:
			}
			s.rouse()
		}
	}
}

func (s *shelf) write() error {
	p := paper{Version: shelfVersion, Messages: []sheet{}}
	s.mu.Lock()
	for topic, m := range s.messages {
		p.Messages = append(p.Messages, sheet{topic, string(m.payload)})
	}
	s.mu.Unlock()
	text, err := json.Marshal(p)
	if err == nil {
		err = atomicfile.Write(s.keep.Dir, FileName, append(text, '\n'))
	}
	s.mu.Lock()
	say := err != nil && !s.failing
	if s.failing = err != nil; s.failing {
		s.failures++
	}
	s.mu.Unlock()
	if say {
		s.log.Error("retained alarms would be missing after a restart, until they are judged anew", "error", err)
	}
	return err
}

func (s *shelf) failed() uint64 {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.failures
}

// close writes what is not written yet, and waits for that a little.
func (s *shelf) close(within time.Duration) {
	close(s.stop)
	select {
	case <-s.done:
	case <-time.After(within):
	}
}
