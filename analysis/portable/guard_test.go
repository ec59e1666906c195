package portable

import (
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"runtime"
	"strings"
	"testing"
)

// The packages whose numbers reach the live engine.
var guarded = []string{
	"fluewright/analysis/portable", "fluewright/analysis/gas", "fluewright/analysis/chimney",
	"fluewright/analysis/regulator", "fluewright/analysis/heat",
	"fluewright/analysis/signal", "fluewright/analysis/burn", "fluewright/analysis/cause", "fluewright/analysis/plausible", "fluewright/analysis/alarm", "fluewright/analysis",
}

// fused matches a fused multiply-add of arm64 or riscv64 in the compiler's listing, with
// the source line that it comes from.
var fused = regexp.MustCompile(`(?m)\(([^()\n]*\.go:\d+)\)\s+FN?M(?:ADD|SUB)[SD]?\b`)

// TestNothingIsFused asks the compiler itself: x*y + z fuses on arm64 and riscv64 and then
// differs in the last bit, also when a variable, a result or an argument carries the
// product into the sum ("possibly across statements", says the language specification).
// float64(x*y) + z does not. The listing comes out of the build cache when nothing changed.
func TestNothingIsFused(t *testing.T) {
	if runtime.GOARCH != "amd64" {
		t.Skip("the compiler's listing is the same wherever it is made: amd64 makes it")
	}
	for _, arch := range []string{"arm64", "riscv64"} {
		out := listing(t, arch, guarded...)
		seen := map[string]bool{}
		for _, hit := range fused.FindAllSubmatch(out, -1) {
			if line := string(hit[1]); !seen[line] {
				seen[line] = true
				t.Errorf("%s fuses at %s: round the product with float64()", arch, line)
			}
		}
	}
}

// TestFusionIsSeen proves that the listing shows what the test above looks for.
func TestFusionIsSeen(t *testing.T) {
	if runtime.GOARCH != "amd64" {
		t.Skip("the compiler's listing is the same wherever it is made: amd64 makes it")
	}
	file := t.TempDir() + "/fma.go"
	if err := os.WriteFile(file, []byte("package fma\n\nfunc F(x, y, z float64) float64 { p := x * y; return p + z }\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	for _, arch := range []string{"arm64", "riscv64"} {
		if !fused.Match(listing(t, arch, file)) {
			t.Errorf("a fused product is not found in the listing of %s", arch)
		}
	}
}

func listing(t *testing.T, arch string, what ...string) []byte {
	t.Helper()
	cmd := exec.Command("go", append([]string{"build", "-gcflags=-S"}, what...)...)
	watch(t)
	cmd.Env = append(os.Environ(), "GOOS=linux", "GOARCH="+arch, "CGO_ENABLED=0", "GOFLAGS=")
	out, err := cmd.CombinedOutput()
	if err != nil {
		t.Fatalf("compile for %s: %v\n%s", arch, err, out)
	}
	return out
}

// watch opens the sources, so that the test cache knows that the result depends on them.
func watch(t *testing.T) {
	t.Helper()
	for _, pkg := range guarded {
		files, err := filepath.Glob("../.." + strings.TrimPrefix(pkg, "fluewright") + "/*.go")
		if err != nil || len(files) == 0 {
			t.Fatalf("no sources of %s (%v)", pkg, err)
		}
		for _, f := range files {
			if _, err := os.ReadFile(f); err != nil {
				t.Fatal(err)
			}
		}
	}
}
