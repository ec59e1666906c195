package trendpage

import (
	"flag"
	"os"
	"testing"

	"fluewright/daemon/internal/panel"
)

var update = flag.Bool("update", false, "write the generated files anew")

// The page's policy forbids style elements: the rules by which its pictures follow the reader
// lie in a file, and are the renderer's own.
func TestThePicturesRulesAreTheRenderers(t *testing.T) {
	const path = "assets/picture.css"
	want := append(panel.StyleSheet("trend"), '\n')
	if *update {
		if err := os.WriteFile(path, want, 0o644); err != nil {
			t.Fatal(err)
		}
	}
	got, err := os.ReadFile(path)
	if err != nil || string(got) != string(want) {
		t.Errorf("%s is not what panel gives: go test -update (%v)", path, err)
	}
}
