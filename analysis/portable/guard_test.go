package portable

import (
	"go/ast"
	"go/parser"
	"go/token"
	"strings"
	"testing"
)

// The packages whose numbers reach the live engine.
var guarded = []string{".", "../gas", "../chimney", "../regulator", "../heat"}

// TestProductsAreGuarded finds sums with a bare product in them: x*y + z may be fused on
// arm64 and riscv64 and then differs in the last bit; float64(x*y) + z may not.
func TestProductsAreGuarded(t *testing.T) {
	for _, dir := range guarded {
		pkgs, err := parser.ParseDir(token.NewFileSet(), dir, nil, 0)
		if err != nil {
			t.Fatal(err)
		}
		for _, pkg := range pkgs {
			for name, file := range pkg.Files {
				if strings.HasSuffix(name, "_test.go") {
					continue
				}
				for _, at := range bareProducts(file) {
					t.Errorf("%s: a product feeds a sum without float64() around it (byte %d)", name, at)
				}
			}
		}
	}
}

func TestGuardFindsBareProducts(t *testing.T) {
	tests := []struct {
		expr string
		want int
	}{
		{"x*y + z", 1},
		{"z - (x * y)", 1},
		{"-(x*y) + z", 1},
		{"a*b + c*d", 2},
		{"float64(x*y) + z", 0},
		{"x * (y + z)", 0},
		{"x*y/w + z", 0},
	}
	for _, tt := range tests {
		t.Run(tt.expr, func(t *testing.T) {
			expr, err := parser.ParseExpr(tt.expr)
			if err != nil {
				t.Fatal(err)
			}
			if got := len(bareProducts(expr)); got != tt.want {
				t.Errorf("found %d, want %d", got, tt.want)
			}
		})
	}
	file, err := parser.ParseFile(token.NewFileSet(), "x.go", "package x\nfunc f() { s += x * y }", 0)
	if err != nil {
		t.Fatal(err)
	}
	if len(bareProducts(file)) != 1 {
		t.Error("the product in s += x * y was not found")
	}
}

func bareProducts(root ast.Node) (at []token.Pos) {
	check := func(e ast.Expr) {
		for {
			switch v := e.(type) {
			case *ast.ParenExpr:
				e = v.X
				continue
			case *ast.UnaryExpr:
				e = v.X
				continue
			case *ast.BinaryExpr:
				if v.Op == token.MUL {
					at = append(at, v.Pos())
				}
			}
			return
		}
	}
	ast.Inspect(root, func(n ast.Node) bool {
		switch v := n.(type) {
		case *ast.BinaryExpr:
			if v.Op == token.ADD || v.Op == token.SUB {
				check(v.X)
				check(v.Y)
			}
		case *ast.AssignStmt:
			if v.Tok == token.ADD_ASSIGN || v.Tok == token.SUB_ASSIGN {
				check(v.Rhs[0])
			}
		}
		return true
	})
	return at
}
