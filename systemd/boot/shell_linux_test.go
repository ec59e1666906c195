package boot_test

import (
	"bufio"
	"net"
	"os/exec"
	"testing"
)

// A line that fails in the machine's shell is seen to fail, else nothing that is asked of
// it can.
func TestTheShellTellsHowALineEnded(t *testing.T) {
	ours, its := net.Pipe()
	shell := exec.Command("sh")
	shell.Stdin, shell.Stdout = its, its
	if err := shell.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		_ = ours.Close()
		_ = its.Close()
		_ = shell.Wait()
	})
	m := &machine{t: t, line: ours, lines: bufio.NewScanner(ours)}
	for _, c := range []struct {
		line, text string
		code       int
	}{
		{"true", "", 0},
		{"echo no; (exit 3)", "no", 3},
		{"grep -q nothing /dev/null", "", 1},
		{"sleep 0 &", "", 0},
	} {
		if text, code := m.do(c.line); text != c.text || code != c.code {
			t.Errorf("%s: %q and %d, want %q and %d", c.line, text, code, c.text, c.code)
		}
	}
}
