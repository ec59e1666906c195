package main_test

import (
	"errors"
	"flag"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"testing"

	"github.com/rogpeppe/go-internal/testscript"

	main "fluewright/daemon/fluewright"
)

func TestMain(m *testing.M) {
	var err error
	if binDir, err = os.MkdirTemp("", "fluewright-test"); err != nil {
		panic(err)
	}
	// Tests here wait for other processes far more than they compute.
	if err := flag.Set("test.parallel", "6"); err != nil {
		panic(err)
	}
	testscript.Main(cleanUp{m}, map[string]func(){"fluewright": main.Main})
}

// cleanUp removes what was built once the tests have run.
type cleanUp struct{ m *testing.M }

func (c cleanUp) Run() int {
	defer os.RemoveAll(binDir)
	return c.m.Run()
}

// The commands as people type them.
func TestCommands(t *testing.T) {
	testscript.Run(t, testscript.Params{
		Dir:   "testdata",
		Setup: emulated,
		Cmds:  map[string]func(*testscript.TestScript, bool, []string){"exits": exits, "records": records},
	})
}

// emulated makes the program start through the emulator that FLUEWRIGHT_EMULATED names,
// if it names one: the kernel cannot start another machine's program by itself.
func emulated(env *testscript.Env) error {
	name := os.Getenv("FLUEWRIGHT_EMULATED")
	if name == "" {
		return nil
	}
	emulator, err := exec.LookPath(name)
	if err != nil {
		return err
	}
	path := env.Getenv("PATH")
	program := filepath.Join(filepath.SplitList(path)[0], "fluewright")
	dir := filepath.Join(env.WorkDir, ".emulated")
	if err := os.Mkdir(dir, 0o755); err != nil {
		return err
	}
	script := fmt.Sprintf("#!/bin/sh\nexec %q %q \"$@\"\n", emulator, program)
	env.Setenv("PATH", dir+string(filepath.ListSeparator)+path)
	return os.WriteFile(filepath.Join(dir, "fluewright"), []byte(script), 0o755)
}

// exits CODE PROGRAM ARG… runs a program that must end with the code.
func exits(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) < 2 {
		ts.Fatalf("usage: exits code program args...")
	}
	code := 0
	if err := ts.Exec(args[1], args[2:]...); err != nil {
		var exit *exec.ExitError
		if !errors.As(err, &exit) {
			ts.Fatalf("%v", err)
		}
		code = exit.ExitCode()
	}
	if strconv.Itoa(code) != args[0] {
		ts.Fatalf("exit code %d, want %s", code, args[0])
	}
}
