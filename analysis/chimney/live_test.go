package chimney

import (
	"math"
	"testing"

	"fluewright/analysis/internal/printed"
)

// TestLiveColebrook asks the library fluids (Debian package python3-fluids), whose
// Colebrook has the constant 3.7.
func TestLiveColebrook(t *testing.T) {
	var rows []struct{ Re, Relative, F float64 }
	printed.Python(t, `
import json
from fluids import friction_factor
out = []
for re in [2500, 4000, 7000, 1e4, 2e4, 5e4, 1e5, 3e5, 1e6]:
    for rel in [0, 1e-5, 1e-4, 5e-4, 1e-3, 2e-3, 5e-3, 1e-2, 2e-2, 3.3e-2, 5e-2]:
        out.append({"Re": re, "Relative": rel, "F": friction_factor(Re=re, eD=rel, Method="Colebrook")})
print(json.dumps(out))`, &rows)
	if len(rows) != 99 {
		t.Fatalf("%d states", len(rows))
	}
	for _, r := range rows {
		if got := colebrook(r.Re, r.Relative, 3.7); math.Abs(got-r.F) > 1e-9*r.F {
			t.Errorf("Re %v, r/D %v: %v, fluids %v", r.Re, r.Relative, got, r.F)
		}
	}
}
