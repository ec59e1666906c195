// Package browsertest lets tests look at pages in a real browser: it starts Debian's
// chromium, opens pages at a size and in a scheme, taps, reads, keeps pictures of them and
// finds what is not accessible. It is for tests alone.
//
// It speaks the browser's own debugging protocol through a pipe, so that there is no port
// and no library.
package browsertest

import (
	"bufio"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"sync"
	"syscall"
	"testing"
	"time"
)

// patience bounds every single thing that the browser is asked for. The machine may be busy.
const patience = 30 * time.Second

// Browser is one running chromium. It ends with its test.
type Browser struct {
	t    testing.TB
	to   *os.File
	mu   sync.Mutex
	last int
	wait map[int]chan reply
	tabs map[string]*Tab // by session
	gone error           // why nothing comes any more
}

type reply struct {
	result json.RawMessage
	err    error
}

// packet is what the browser sends: a reply or an event.
type packet struct {
	ID        int             `json:"id"`
	SessionID string          `json:"sessionId"`
	Method    string          `json:"method"`
	Params    json.RawMessage `json:"params"`
	Result    json.RawMessage `json:"result"`
	Error     *struct {
		Message string `json:"message"`
	} `json:"error"`
}

// Start starts a browser. Without one the test is skipped; where FLUEWRIGHT_REAL says that
// there is one, it fails. Under -short it is skipped always.
func Start(t testing.TB) *Browser {
	t.Helper()
	if testing.Short() || os.Getenv("FLUEWRIGHT_EMULATED") != "" {
		t.Skip("a browser takes its time, and an emulated one too long")
	}
	program, err := exec.LookPath("chromium")
	if err != nil {
		if os.Getenv("FLUEWRIGHT_REAL") == "1" {
			t.Fatal("chromium is not installed")
		}
		t.Skip("chromium is not installed")
	}
	theirs, to, err := os.Pipe()
	if err != nil {
		t.Fatal(err)
	}
	from, ours, err := os.Pipe()
	if err != nil {
		t.Fatal(err)
	}
	cmd := exec.Command(program, "--headless", "--no-sandbox", "--disable-gpu", "--no-first-run", "--hide-scrollbars",
		"--disable-background-networking", "--disable-component-update", "--disable-dev-shm-usage", "--disable-extensions",
		// A name that is no localhost: what browsers keep for encrypted pages is not there.
		"--host-resolver-rules=MAP *.test 127.0.0.1",
		"--remote-debugging-pipe", "--user-data-dir="+t.TempDir())
	cmd.ExtraFiles = []*os.File{theirs, ours} // its descriptors 3 and 4
	cmd.SysProcAttr = &syscall.SysProcAttr{Setpgid: true}
	if err := cmd.Start(); err != nil {
		t.Fatalf("start chromium: %v", err)
	}
	_, _ = theirs.Close(), ours.Close()
	b := &Browser{t: t, to: to, wait: make(map[int]chan reply), tabs: make(map[string]*Tab)}
	read := make(chan struct{})
	go func() { defer close(read); b.read(bufio.NewReader(from)) }()
	t.Cleanup(func() {
		_ = b.send("", "Browser.close", nil, nil)
		ended := make(chan struct{})
		go func() { defer close(ended); _ = cmd.Wait() }()
		select {
		case <-ended:
		case <-time.After(5 * time.Second):
		}
		_ = syscall.Kill(-cmd.Process.Pid, syscall.SIGKILL) // its children too
		<-ended
		_ = to.Close()
		_ = from.Close()
		<-read
	})
	return b
}

// read hands on what comes until the browser is gone.
func (b *Browser) read(from *bufio.Reader) {
	for {
		line, err := from.ReadBytes(0)
		if err != nil {
			b.end(fmt.Errorf("the browser is gone: %w", err))
			return
		}
		var p packet
		if err := json.Unmarshal(line[:len(line)-1], &p); err != nil {
			b.end(fmt.Errorf("the browser says what is no JSON: %w", err))
			return
		}
		b.mu.Lock()
		ch, tab := b.wait[p.ID], b.tabs[p.SessionID]
		delete(b.wait, p.ID)
		b.mu.Unlock()
		switch {
		case p.Method != "" && tab != nil:
			tab.hear(p.Method, p.Params)
		case ch != nil && p.Error != nil:
			ch <- reply{err: errors.New(p.Error.Message)}
		case ch != nil:
			ch <- reply{result: p.Result}
		}
	}
}

func (b *Browser) end(why error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.gone = why
	for id, ch := range b.wait {
		ch <- reply{err: why}
		delete(b.wait, id)
	}
}

// send asks the browser, or one of its tabs, for something, and waits for the answer.
func (b *Browser) send(session, method string, params, into any) error {
	b.mu.Lock()
	b.last++
	id, ch := b.last, make(chan reply, 1)
	if b.gone != nil {
		defer b.mu.Unlock()
		return b.gone
	}
	b.wait[id] = ch
	body, err := json.Marshal(struct {
		ID        int    `json:"id"`
		SessionID string `json:"sessionId,omitempty"`
		Method    string `json:"method"`
		Params    any    `json:"params,omitempty"`
	}{id, session, method, params})
	if err == nil {
		_, err = b.to.Write(append(body, 0))
	}
	b.mu.Unlock()
	if err != nil {
		return fmt.Errorf("ask the browser for %s: %w", method, err)
	}
	select {
	case r := <-ch:
		if r.err != nil {
			return fmt.Errorf("%s: %w", method, r.err)
		}
		if into == nil {
			return nil
		}
		return json.Unmarshal(r.result, into)
	case <-time.After(patience):
		return fmt.Errorf("%s: no answer within %v", method, patience)
	}
}
