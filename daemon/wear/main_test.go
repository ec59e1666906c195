//go:build linux

package main

import (
	"bytes"
	"context"
	"io"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

// asMain is set for a process that is the command.
const asMain = "FLUEWRIGHT_WEAR_COMMAND"

func TestMain(m *testing.M) {
	if os.Getenv(asMain) != "" {
		main()
		return
	}
	os.Exit(m.Run())
}

func TestRefuses(t *testing.T) {
	for _, args := range [][]string{{"-for", "-1m"}, {"-days", "-1"}, {"more"}, {"-for", "soon"}} {
		if err := run(t.Context(), args, io.Discard, io.Discard); err == nil {
			t.Errorf("%v: no error", args)
		}
	}
}

// A day's sizes and times are printed, with what is missing of the peers.
func TestADay(t *testing.T) {
	if testing.Short() {
		t.Skip("fills a day")
	}
	t.Setenv("PATH", t.TempDir())
	t.Setenv("TMPDIR", t.TempDir())
	var out bytes.Buffer
	if err := run(t.Context(), []string{"-for", "0", "-days", "1"}, &out, io.Discard); err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{"bytes a sample", "| this history, 24 h |", "| Prometheus | not measured: prometheus is not installed |", "| rrdtool | not measured:"} {
		if !strings.Contains(out.String(), want) {
			t.Errorf("%q is not in\n%s", want, &out)
		}
	}
	if left, _ := os.ReadDir(os.TempDir()); len(left) > 0 {
		t.Errorf("%v is left", left)
	}
}

// cardsInUse are the loop devices over images of cards.
func cardsInUse(t *testing.T) map[string]bool {
	t.Helper()
	files, err := filepath.Glob("/sys/block/loop*/loop/backing_file")
	if err != nil {
		t.Fatal(err)
	}
	all := map[string]bool{}
	for _, f := range files {
		if text, err := os.ReadFile(f); err == nil && strings.Contains(string(text), "fluewright-card") {
			all[f] = true
		}
	}
	return all
}

// However the command ends, no mount, device, image or process of it stays.
func TestAKillLeavesNothing(t *testing.T) {
	if testing.Short() {
		t.Skip("mounts file systems")
	}
	if os.Geteuid() != 0 {
		t.Skip("only root may mount")
	}
	before := cardsInUse(t)
	fresh := func() (n int) {
		for f := range cardsInUse(t) {
			if !before[f] {
				n++
			}
		}
		return n
	}
	home := t.TempDir()
	ctx, cancel := context.WithTimeout(t.Context(), time.Minute)
	defer cancel()
	cmd := exec.CommandContext(ctx, os.Args[0], "-for", "1m", "-days", "0")
	cmd.Env = append(os.Environ(), asMain+"=1", "TMPDIR="+home)
	var said bytes.Buffer
	cmd.Stderr = &said
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	ended := make(chan struct{})
	go func() { defer close(ended); _ = cmd.Wait() }()
	for fresh() < 2 {
		select {
		case <-ended:
			t.Skipf("there are no loop devices here: %s", &said)
		case <-time.After(50 * time.Millisecond):
		}
	}
	if err := cmd.Process.Kill(); err != nil {
		t.Fatal(err)
	}
	<-ended
	for end := time.Now().Add(20 * time.Second); fresh() > 0; time.Sleep(50 * time.Millisecond) {
		if time.Now().After(end) {
			t.Fatalf("%d cards are left", fresh())
		}
	}
	if mounts, err := os.ReadFile("/proc/self/mounts"); err != nil || strings.Contains(string(mounts), home) {
		t.Errorf("mounts are left, %v:\n%s", err, mounts)
	}
	err := filepath.WalkDir(home, func(path string, d fs.DirEntry, err error) error {
		if err == nil && !d.IsDir() {
			t.Errorf("%s is left", path)
		}
		return err
	})
	if err != nil {
		t.Error(err)
	}
}
