//go:build amd64 || arm64 || riscv64

package main

import (
	"bufio"
	"encoding/json"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"

	"fluewright/sensors/bench"
)

// TestMain runs the program itself when a test has started it as a process.
func TestMain(m *testing.M) {
	if os.Getenv("BENCHD_AS_PROGRAM") == "1" {
		main()
		return
	}
	os.Exit(m.Run())
}

// process is a running benchd.
type process struct {
	t   *testing.T
	cmd *exec.Cmd
	dir string
	in  io.WriteCloser
	out *bufio.Scanner
}

func start(t *testing.T, args ...string) *process {
	t.Helper()
	p := &process{t: t, dir: t.TempDir()}
	p.cmd = exec.Command(os.Args[0], append([]string{"--dir", p.dir}, args...)...)
	p.cmd.Env = append(os.Environ(), "BENCHD_AS_PROGRAM=1")
	var talk strings.Builder
	p.cmd.Stderr = &talk
	p.in, _ = p.cmd.StdinPipe()
	out, err := p.cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	p.out = bufio.NewScanner(out)
	if err := p.cmd.Start(); err != nil {
		t.Fatal(err)
	}
	if got := p.reply(); got != "ready" {
		err := p.cmd.Wait()
		if os.Getenv("FLUEWRIGHT_REAL") == "1" || !strings.Contains(talk.String(), "mount bench") {
			t.Fatalf("%q instead of ready, %v, %s", got, err, talk.String())
		}
		t.Skipf("needs root and /dev/fuse: %s", talk.String())
	}
	return p
}

func (p *process) reply() string {
	if !p.out.Scan() {
		return ""
	}
	return p.out.Text()
}

func (p *process) ask(line string) string {
	p.t.Helper()
	if _, err := io.WriteString(p.in, line+"\n"); err != nil {
		p.t.Fatal(err)
	}
	return p.reply()
}

// gone checks that the process ended well and left no mount behind.
func (p *process) gone() {
	p.t.Helper()
	if err := p.cmd.Wait(); err != nil {
		p.t.Error(err)
	}
	if left, err := os.ReadDir(p.dir); err != nil || len(left) > 0 {
		p.t.Errorf("still in the directory: %v, %v", left, err)
	}
}

func TestControlConversation(t *testing.T) {
	p := start(t, "--speed", "10", "--scenario", "night")
	for _, c := range []struct{ line, want string }{
		{"pin flue 620", "ok"},
		{"fault draft nack", "ok"},
		{"boil 3", `error: unknown command "boil"`},
	} {
		if got := p.ask(c.line); got != c.want {
			t.Errorf("%s: %q, want %q", c.line, got, c.want)
		}
	}
	var truth bench.Truth
	if err := json.Unmarshal([]byte(p.ask("truth")), &truth); err != nil || truth.Channels["flue"] != 620 {
		t.Errorf("truth %+v, %v", truth, err)
	}
	if _, err := os.Stat(filepath.Join(p.dir, "spidev0.0")); err != nil {
		t.Error(err)
	}
	p.in.Close()
	p.gone()
}

func TestSignalUnmountsEvenIfAFileIsOpen(t *testing.T) {
	p := start(t)
	f, err := os.OpenFile(filepath.Join(p.dir, "i2c-1"), os.O_RDWR, 0)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	if err := p.cmd.Process.Signal(syscall.SIGTERM); err != nil {
		t.Fatal(err)
	}
	p.gone()
}

func TestLinksAreMadeAndRemoved(t *testing.T) {
	b, err := bench.New(bench.Config{})
	if err != nil {
		t.Fatal(err)
	}
	dev := t.TempDir()
	unlink, err := link(dev, "shown", 90, b)
	if err != nil {
		t.Fatal(err)
	}
	to, err := os.Readlink(filepath.Join(dev, "i2c-91"))
	if here, _ := filepath.Abs("shown"); err != nil || to != filepath.Join(here, "i2c-1") {
		t.Errorf("link to %q, %v", to, err)
	}
	if _, err := os.Readlink(filepath.Join(dev, "spidev90.1")); err != nil {
		t.Error(err)
	}
	unlink()

	// What was there before stays, and nothing of ours does.
	if err := os.WriteFile(filepath.Join(dev, "spidev0.1"), nil, 0o600); err != nil {
		t.Fatal(err)
	}
	unlink, err = link(dev, "shown", 0, b)
	if err == nil {
		t.Error("a device file that exists was replaced")
	}
	unlink()
	if left, _ := os.ReadDir(dev); len(left) != 1 || left[0].Name() != "spidev0.1" {
		t.Errorf("left in dev: %v", left)
	}
}

func TestBadArguments(t *testing.T) {
	bad := filepath.Join(t.TempDir(), "bad.scenario")
	if err := os.WriteFile(bad, []byte("0:01:00 boil 3\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		args []string
		want string
	}{
		{nil, "usage"},
		{[]string{"--dir", "d", "--speed", "0"}, "usage"},
		{[]string{"--dir", "d", "--cuse"}, "usage"},
		{[]string{"--cuse", "--dev"}, "usage"},
		{[]string{"--dir", "d", "--scenario", "absent"}, "open scenario"},
		{[]string{"--dir", "d", "--scenario", bad}, `unknown command "boil"`},
	} {
		if err := run(c.args, strings.NewReader(""), io.Discard); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%q: %v, want %q", c.args, err, c.want)
		}
	}
}
