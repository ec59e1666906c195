// Package package_test tries the builds that are shipped. Packages themselves are tried by
// .ci/package-test.
package package_test

import (
	"bytes"
	"context"
	"debug/elf"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

// boards are the builds that are shipped, by architecture.
var boards = map[string][]string{
	"amd64":   {"GOARCH=amd64"},
	"arm":     {"GOARCH=arm", "GOARM=6"},
	"arm64":   {"GOARCH=arm64"},
	"riscv64": {"GOARCH=riscv64"},
}

// largest is how many bytes a program may have.
const largest = 25 << 20

// A board gets one file and needs nothing beside it.
func TestBoards(t *testing.T) {
	if testing.Short() {
		t.Skip("builds the program, which is none of this test's build")
	}
	if os.Getenv("FLUEWRIGHT_EMULATED") != "" {
		t.Skip("the test itself runs in an emulator; it is for real machines")
	}
	dir := t.TempDir()
	for name, env := range boards {
		t.Run(name, func(t *testing.T) {
			program := filepath.Join(dir, name)
			build := exec.Command("go", "build", "-trimpath", "-ldflags=-s -w", "-o", program, "../../daemon/fluewright")
			build.Env = append(append(os.Environ(), "CGO_ENABLED=0", "GOOS=linux"), env...)
			if said, err := build.CombinedOutput(); err != nil {
				t.Fatalf("build: %v\n%s", err, said)
			}
			needsNothing(t, program)
			if name == "arm64" {
				isHeard(t, "qemu-aarch64-static", program)
			}
		})
	}
}

// needsNothing reports a program that needs more than its one file, or a large one.
func needsNothing(t *testing.T, program string) {
	t.Helper()
	file, err := elf.Open(program)
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	for _, p := range file.Progs {
		if p.Type == elf.PT_INTERP || p.Type == elf.PT_DYNAMIC {
			t.Errorf("it is linked dynamically: it has a segment %v", p.Type)
		}
	}
	if info, err := os.Stat(program); err != nil || info.Size() > largest {
		t.Errorf("it has %d bytes, want %d at most: %v", info.Size(), largest, err)
	}
}

// isHeard burns for ten seconds in an emulator: a subscriber that is not ours hears of it.
func isHeard(t *testing.T, emulator, program string) {
	t.Helper()
	for _, p := range []string{emulator, "mosquitto_sub"} {
		if _, err := exec.LookPath(p); err == nil {
			continue
		}
		if os.Getenv("FLUEWRIGHT_REAL") == "1" {
			t.Fatalf("%s is missing", p)
		}
		t.Skipf("%s is missing", p)
	}
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	host, port, _ := net.SplitHostPort(l.Addr().String())
	_ = l.Close()
	demo := exec.CommandContext(t.Context(), emulator, program, "demo", "--for", "10s", "--mqtt", net.JoinHostPort(host, port), "--web", "127.0.0.1:0")
	var said bytes.Buffer
	demo.Stdout, demo.Stderr = &said, &said
	if err := demo.Start(); err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithTimeout(t.Context(), 20*time.Second)
	defer cancel()
	var heard string
	for ctx.Err() == nil && !strings.Contains(heard, `"quality":"good"`) {
		out, _ := exec.CommandContext(ctx, "mosquitto_sub", "-h", host, "-p", port, "-C", "1", "-W", "2", "-t", "fluewright/demo/state").Output()
		heard = string(out) // nothing as long as the broker is not up
	}
	if !strings.Contains(heard, `"quality":"good"`) {
		t.Errorf("heard %q", heard)
	}
	if err := demo.Wait(); err != nil {
		t.Errorf("%v\n%s", err, said.String())
	}
}
