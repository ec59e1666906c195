// Package daemon_test holds the rules of the house: who may know whom, and why.
package daemon_test

import (
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"os"
	"path"
	"slices"
	"strconv"
	"strings"
	"testing"
)

const module = "fluewright/"

// A rule says what the packages below a folder must not import, and why.
type rule struct {
	below     string
	except    string // a folder below it to which the rule does not apply
	forbidden func(imported string) bool
	reason    string
}

func within(folders ...string) func(string) bool {
	return func(imported string) bool {
		for _, f := range folders {
			if imported == f || strings.HasPrefix(imported, f+"/") {
				return true
			}
		}
		return false
	}
}

// numeric is what the analysis may import beside itself: arithmetic and data, nothing
// that reads a clock, the world or a random number, and nothing that runs at the same time.
var numeric = []string{
	"cmp", "errors", "fmt", "iter", "math", "math/bits", "math/cmplx", "slices", "maps", "sort", "strconv",
	"strings", "time", "unicode", "unicode/utf8",
}

var rules = []rule{
	{
		below:     "sensors",
		forbidden: within(module+"analysis", module+"daemon"),
		reason:    "a driver knows its chip, not the furnace: it must be usable and testable without the rest",
	},
	{
		below:     "sensors",
		except:    "sensors/bench",
		forbidden: within(module + "sensors/bench"),
		reason:    "what reads a chip must not know that the chip is virtual, or the bench proves nothing",
	},
	{
		below:  "analysis",
		except: "analysis/internal/printed", // reads tables, for tests only
		forbidden: func(imported string) bool {
			return !slices.Contains(numeric, imported) && !within(module+"analysis", "gonum.org/v1/gonum")(imported) ||
				imported == module+"analysis/internal/printed"
		},
		reason: "the same frames must give the same assessments anywhere: no input, output, clock, goroutine or random",
	},
	{
		below:     "daemon/internal",
		except:    "daemon/internal/app",
		forbidden: within(module + "daemon/internal/app"),
		reason:    "app wires the rooms together; a room that reaches back for it could not be used without the whole",
	},
	{
		below:     "daemon/internal",
		except:    "daemon/internal/app",
		forbidden: within(module+"sensors/bench", module+"sensors/bus"),
		reason:    "only the wiring decides whether chips are real or virtual and opens them",
	},
}

func TestImportRules(t *testing.T) {
	for _, file := range sources(t) {
		for _, r := range rules {
			inside := within(r.below)(path.Dir(file.path))
			if !inside || r.except != "" && within(r.except)(path.Dir(file.path)) {
				continue
			}
			for _, imp := range file.ast.Imports {
				imported, err := strconv.Unquote(imp.Path.Value)
				if err != nil {
					t.Fatal(err)
				}
				if r.forbidden(imported) {
					t.Errorf("%s imports %s: %s", file.path, imported, r.reason)
				}
			}
		}
	}
}

// The analysis must not start goroutines, wait, or ask what time it is.
func TestAnalysisIsPure(t *testing.T) {
	clock := []string{"Now", "Since", "Until", "Sleep", "After", "AfterFunc", "Tick", "NewTimer", "NewTicker"}
	for _, file := range sources(t) {
		if !within("analysis")(path.Dir(file.path)) {
			continue
		}
		ast.Inspect(file.ast, func(n ast.Node) bool {
			switch n := n.(type) {
			case *ast.GoStmt, *ast.SelectStmt, *ast.SendStmt, *ast.ChanType:
				t.Errorf("%s: goroutines and channels make the order of things uncertain", file.at(n))
			case *ast.SelectorExpr:
				if x, ok := n.X.(*ast.Ident); ok && x.Name == "time" && slices.Contains(clock, n.Sel.Name) {
					t.Errorf("%s: time.%s makes a replay differ from the night itself", file.at(n), n.Sel.Name)
				}
			}
			return true
		})
	}
}

// Every room says what it is for.
func TestEveryPackageIsDocumented(t *testing.T) {
	documented := map[string]bool{}
	for _, file := range sources(t) {
		dir := path.Dir(file.path)
		documented[dir] = documented[dir] || file.ast.Doc != nil
	}
	for dir, ok := range documented {
		if !ok {
			t.Errorf("%s has no package comment", dir)
		}
	}
}

// The rules must bite: each forbids something that somebody could write.
func TestRulesBite(t *testing.T) {
	offences := map[string]string{
		"sensors":         module + "analysis/frame",
		"analysis":        "os",
		"daemon/internal": module + "daemon/internal/app",
	}
	for below, imported := range offences {
		if !slices.ContainsFunc(rules, func(r rule) bool { return r.below == below && r.forbidden(imported) }) {
			t.Errorf("nothing forbids %s below %s", imported, below)
		}
	}
}

type source struct {
	path string // from the root of the repository
	ast  *ast.File
	fset *token.FileSet
}

func (s source) at(n ast.Node) string { return s.fset.Position(n.Pos()).String() }

// sources parses every file of the product that is no test.
func sources(t *testing.T) []source {
	t.Helper()
	root := os.DirFS("..")
	var all []source
	err := fs.WalkDir(root, ".", func(p string, d fs.DirEntry, err error) error {
		switch {
		case err != nil:
			return err
		case d.IsDir() && strings.HasPrefix(d.Name(), ".") && p != ".":
			return fs.SkipDir
		case !strings.HasSuffix(p, ".go") || strings.HasSuffix(p, "_test.go"):
			return nil
		}
		text, err := fs.ReadFile(root, p)
		if err != nil {
			return err
		}
		fset := token.NewFileSet()
		file, err := parser.ParseFile(fset, p, text, parser.ParseComments)
		if err != nil {
			return err
		}
		all = append(all, source{p, file, fset})
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	if len(all) < 10 {
		t.Fatalf("only %d files found: looked in the wrong place?", len(all))
	}
	return all
}
