package main_test

import (
	"context"
	"debug/elf"
	"os/exec"
	"strings"
	"testing"
	"time"
)

// boards are the builds that are shipped, by architecture.
var boards = map[string][]string{
	"arm":     {"GOOS=linux", "GOARCH=arm", "GOARM=6"},
	"arm64":   {"GOOS=linux", "GOARCH=arm64"},
	"riscv64": {"GOOS=linux", "GOARCH=riscv64"},
}

// A board gets one file and needs nothing beside it.
func TestBinariesAreStatic(t *testing.T) {
	if testing.Short() {
		t.Skip("runs the built binary, which is none of this test's build")
	}
	needRealParts(t)
	for name, env := range boards {
		file, err := elf.Open(build(t, ".", env...))
		if err != nil {
			t.Fatal(err)
		}
		for _, p := range file.Progs {
			if p.Type == elf.PT_INTERP || p.Type == elf.PT_DYNAMIC {
				t.Errorf("%s is linked dynamically: it has a segment %v", name, p.Type)
			}
		}
		_ = file.Close()
	}
}

// The arm64 binary, in an emulator, burns for ten seconds and is heard by a subscriber
// that is not ours.
func TestArm64PublishesInAnEmulator(t *testing.T) {
	if testing.Short() {
		t.Skip("runs the built binary, which is none of this test's build")
	}
	needRealParts(t, "qemu-aarch64-static", "mosquitto_sub")
	binary := build(t, ".", boards["arm64"]...)
	broker := freeAddress(t)
	demo := start(t, "qemu-aarch64-static", binary, "demo", "--for", "10s", "--mqtt", broker, "--web", "127.0.0.1:0")
	ctx, cancel := context.WithTimeout(t.Context(), 10*time.Second)
	defer cancel()
	var heard string
	for ctx.Err() == nil && !strings.Contains(heard, `"quality":"good"`) {
		out, _ := exec.CommandContext(ctx, "mosquitto_sub", at(broker, "-C", "1", "-W", "2", "-t", "fluewright/demo/state")...).Output()
		heard = string(out) // nothing as long as the broker is not up
	}
	if !strings.Contains(heard, `"quality":"good"`) {
		t.Errorf("heard %q", heard)
	}
	if err := demo.wait(15 * time.Second); err != nil {
		t.Errorf("%v\n%s", err, demo.said())
	}
}
