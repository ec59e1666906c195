package main_test

import (
	"bytes"
	"errors"
	"io"
	"net"
	"os"
	"os/exec"
	"strings"
	"syscall"
	"testing"
	"time"
)

// process is a program under test or beside it.
type process struct {
	cmd  *exec.Cmd
	in   io.Writer
	out  io.Reader
	err  *bytes.Buffer
	done chan error
}

func start(t *testing.T, program string, args ...string) *process {
	t.Helper()
	p := &process{cmd: exec.Command(program, args...), err: &bytes.Buffer{}, done: make(chan error, 1)}
	p.cmd.Stderr = p.err
	in, err := p.cmd.StdinPipe()
	if err != nil {
		t.Fatal(err)
	}
	read, write, err := os.Pipe()
	if err != nil {
		t.Fatal(err)
	}
	p.in, p.out, p.cmd.Stdout = in, read, write
	if err := p.cmd.Start(); err != nil {
		t.Fatal(err)
	}
	_ = write.Close() // the child has its own
	go func() { p.done <- p.cmd.Wait() }()
	t.Cleanup(func() {
		p.signal(syscall.SIGCONT)
		p.signal(syscall.SIGTERM)
		if p.wait(ending) == errTooLong {
			_ = p.cmd.Process.Kill()
			<-p.done
		}
		_ = read.Close()
	})
	return p
}

// ending is how long a program may take to end on a machine that does much else.
const ending = 30 * time.Second

var errTooLong = errors.New("it does not end")

func (p *process) signal(s syscall.Signal) { _ = p.cmd.Process.Signal(s) }

// wait returns how the process ended; it may be called again.
func (p *process) wait(limit time.Duration) error {
	select {
	case err := <-p.done:
		p.done <- err
		return err
	case <-time.After(limit):
		return errTooLong
	}
}

// said is what the process wrote on standard error; only once it has ended.
func (p *process) said() string {
	if p.wait(time.Second) == errTooLong {
		return "(still running)"
	}
	return p.err.String()
}

func output(t *testing.T, program string, args ...string) string {
	t.Helper()
	cmd := exec.Command(program, args...)
	var stderr bytes.Buffer
	cmd.Stderr = &stderr
	out, err := cmd.Output()
	if err != nil {
		t.Fatalf("%s %s: %v\n%s", program, strings.Join(args, " "), err, stderr.String())
	}
	return string(out)
}

// at puts a broker's address before the other arguments of mosquitto_sub.
func at(address string, args ...string) []string {
	host, port, _ := net.SplitHostPort(address)
	return append([]string{"-h", host, "-p", port}, args...)
}
