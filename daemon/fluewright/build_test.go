package main_test

import (
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"
)

// needRealParts skips a test whose programs are not on this computer, and fails it where
// FLUEWRIGHT_REAL says that they have to be.
func needRealParts(t *testing.T, programs ...string) {
	t.Helper()
	if os.Getenv("FLUEWRIGHT_EMULATED") != "" {
		t.Skip("the test itself runs in an emulator; it is for real machines")
	}
	for _, p := range programs {
		if _, err := exec.LookPath(p); err != nil {
			missing(t, p)
		}
	}
}

func missing(t *testing.T, part string) {
	t.Helper()
	if os.Getenv("FLUEWRIGHT_REAL") == "1" {
		t.Fatalf("%s is missing", part)
	}
	t.Skipf("%s is missing", part)
}

var (
	buildMu sync.Mutex
	built   = map[string]string{}
	binDir  string
)

// build compiles a command as it is shipped, without cgo and for this computer unless
// the environment given says otherwise, and returns its path.
func build(t *testing.T, pkg string, env ...string) string {
	t.Helper()
	buildMu.Lock()
	defer buildMu.Unlock()
	key := pkg + " " + strings.Join(env, " ")
	if path, ok := built[key]; ok {
		return path
	}
	path := filepath.Join(binDir, strings.NewReplacer("/", "_", " ", "_", ".", "").Replace(key))
	cmd := exec.Command("go", "build", "-trimpath", "-ldflags=-s -w", "-o", path, pkg)
	cmd.Env = append(append(os.Environ(), "CGO_ENABLED=0"), env...)
	if said, err := cmd.CombinedOutput(); err != nil {
		t.Fatalf("build %s: %v\n%s", key, err, said)
	}
	built[key] = path
	return path
}

func writeFile(t *testing.T, path, text string) {
	t.Helper()
	if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
}
