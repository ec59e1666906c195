// Package boot_test boots a whole Debian with the package installed, under its real systemd,
// in an emulated computer, and does to it what happens to a computer in a basement.
package boot_test

import (
	"bufio"
	"bytes"
	"fmt"
	"io"
	"net"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"
)

// An emulated machine beside other work is slow: it may take so long to come up, and what
// should happen soon may take so long.
const (
	patience = 6 * time.Minute
	soon     = 3 * time.Minute
)

// machine is a running computer, and a line to a shell of root's in it.
type machine struct {
	t       *testing.T
	process *exec.Cmd
	console bytes.Buffer // read it after the machine has ended
	line    net.Conn
	lines   *bufio.Scanner
	started time.Time
	asked   int

	disk  *disk
	ear   net.Conn // what is written to the machine's second line comes here
	deaf  chan struct{}
	mu    sync.Mutex
	heard []heard
}

// heard is a line that has come, and how long the log of the disk's writes was then: what the
// line promises to be kept was flushed before.
type heard struct {
	line   string
	writes int64
}

// power switches a machine on and waits for its shell. The words are the kernel's, more are
// arguments of the emulator.
func power(t *testing.T, i installed, d *disk, words string, more ...string) *machine {
	t.Helper()
	dir := t.TempDir()
	m := &machine{t: t, disk: d}
	args := append([]string{"-serial", "stdio", "-device", "virtio-serial"}, d.args()...)
	for _, name := range []string{"line", "ear"} {
		args = append(args, "-chardev", "socket,id="+name+",server=on,wait=off,path="+filepath.Join(dir, name),
			"-device", "virtserialport,chardev="+name+",name="+name)
	}
	m.process = emulator(i, "root=/dev/vda "+words, append(args, more...)...)
	m.process.Stdout, m.process.Stderr = &m.console, &m.console
	m.process.SysProcAttr = &syscall.SysProcAttr{Pdeathsig: syscall.SIGKILL}
	m.started = time.Now()
	if err := m.process.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(m.cut)
	m.line, m.ear = m.dial(filepath.Join(dir, "line")), m.dial(filepath.Join(dir, "ear"))
	m.deaf = make(chan struct{})
	go m.hear()
	m.lines = bufio.NewScanner(m.line)
	_ = m.line.SetReadDeadline(time.Now().Add(patience))
	for m.lines.Scan() {
		if m.lines.Text() == "shell" {
			return m
		}
	}
	t.Fatalf("the machine does not come up: %v\n%s", m.lines.Err(), m.said())
	return nil
}

func (m *machine) dial(socket string) net.Conn {
	m.t.Helper()
	for deadline := time.Now().Add(20 * time.Second); ; time.Sleep(20 * time.Millisecond) {
		c, err := net.Dial("unix", socket)
		if err == nil {
			return c
		}
		if time.Now().After(deadline) {
			m.t.Fatalf("%v\n%s", err, m.said())
		}
	}
}

// hear gathers the whole lines that come through the ear. What has come was announced: it is
// outside.
func (m *machine) hear() {
	defer close(m.deaf)
	for r := bufio.NewReader(m.ear); ; {
		line, err := r.ReadString('\n')
		if err != nil {
			return
		}
		writes := m.disk.written()
		m.mu.Lock()
		m.heard = append(m.heard, heard{strings.TrimSpace(line), writes})
		m.mu.Unlock()
	}
}

// told is what was heard so far and has all the texts in it.
func (m *machine) told(texts ...string) (lines []string) {
	m.mu.Lock()
	defer m.mu.Unlock()
next:
	for _, h := range m.heard {
		for _, text := range texts {
			if !strings.Contains(h.line, text) {
				continue next
			}
		}
		lines = append(lines, h.line)
	}
	return lines
}

// cut takes the power away.
func (m *machine) cut() {
	if m.process.ProcessState != nil {
		return
	}
	_ = m.process.Process.Kill()
	_ = m.process.Wait()
	if m.deaf != nil {
		<-m.deaf // the other end is closed: what was on its way has come
		_ = m.ear.Close()
	}
	if m.line != nil {
		_ = m.line.Close()
	}
}

// off shuts the machine down as its owner should.
func (m *machine) off() {
	m.t.Helper()
	_, _ = io.WriteString(m.line, "systemctl poweroff\n")
	timer := time.AfterFunc(patience, func() { _ = m.process.Process.Kill() })
	if err := m.process.Wait(); err != nil || !timer.Stop() {
		m.t.Fatalf("the machine does not shut down: %v\n%s", err, m.console.String())
	}
}

// said is the console, of a machine that is cut for it.
func (m *machine) said() string {
	m.cut()
	return m.console.String()
}

// do runs a line in the machine's shell and returns what it writes and its exit code.
func (m *machine) do(line string) (text string, code int) {
	m.t.Helper()
	m.asked++
	end := fmt.Sprintf("done-%d", m.asked)
	if _, err := io.WriteString(m.line, "{ "+line+"\n} 2>&1 </dev/null; code=$?; echo; echo "+end+" $code\n"); err != nil {
		m.t.Fatalf("%s: %v\n%s", line, err, m.said())
	}
	_ = m.line.SetReadDeadline(time.Now().Add(patience))
	var b strings.Builder
	for m.lines.Scan() {
		if rest, ok := strings.CutPrefix(m.lines.Text(), end+" "); ok {
			code, err := strconv.Atoi(rest)
			if err != nil {
				m.t.Fatal(err)
			}
			return strings.TrimSpace(b.String()), code
		}
		b.WriteString(m.lines.Text() + "\n")
	}
	m.t.Fatalf("%s: no answer: %v, but %s\n%s", line, m.lines.Err(), b.String(), m.said())
	return "", 0
}

// must is do for what has to succeed.
func (m *machine) must(line string) string {
	m.t.Helper()
	text, code := m.do(line)
	if code != 0 {
		m.t.Fatalf("%s ends with %d: %s", line, code, text)
	}
	return text
}

// await repeats a line until it succeeds and what it writes matches.
func (m *machine) await(within time.Duration, line, pattern string) string {
	m.t.Helper()
	want := regexp.MustCompile(pattern)
	var text string
	for deadline := time.Now().Add(within); time.Now().Before(deadline); time.Sleep(200 * time.Millisecond) {
		var code int
		if text, code = m.do(line); code == 0 && want.MatchString(text) {
			return text
		}
	}
	journal, _ := m.do("journalctl -b --no-pager -n 60")
	m.t.Fatalf("%s: no %s within %v, but %q\n%s", line, pattern, within, text, journal)
	return ""
}

// bench gives the virtual chips control lines.
func (m *machine) bench(lines ...string) {
	m.t.Helper()
	m.must("printf '" + strings.Join(lines, `\n`) + `\n' >/run/bench.ctl`)
}
