package mqtt

import (
	"os"
	"path/filepath"
	"testing"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"fluewright/daemon/internal/history"
)

// Whatever comes in whatever order, a moment counts as acknowledged only if it was.
func TestProgressForgetsAndInventsNothing(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		const end = 60
		p := progress{Rows: history.Position{Identity: "run", MS: -1}}
		var acked [end]bool
		for range rapid.IntRange(1, 60).Draw(t, "steps") {
			from := rapid.Int64Range(0, end-1).Draw(t, "from")
			to := rapid.Int64Range(from+1, end).Draw(t, "to")
			if rapid.Bool().Draw(t, "fill") {
				from = p.Rows.MS + 1
				to = min(from+3, end)
				if from >= to {
					continue
				}
				p.reach(history.Position{Identity: "run", MS: to - 1})
			} else {
				p.took(stretch{"run", from, to})
			}
			for at := from; at < to; at++ {
				acked[at] = true
			}
			if len(p.Ahead) > mostAhead {
				t.Fatalf("%d stretches", len(p.Ahead))
			}
			for at := range int64(end) {
				has := at <= p.Rows.MS || p.has(history.Position{Identity: "run", MS: at})
				if has && !acked[at] {
					t.Fatalf("%d was not acknowledged: %+v", at, p)
				}
				if !has && acked[at] && len(p.Ahead) < mostAhead {
					t.Fatalf("%d was acknowledged: %+v", at, p)
				}
			}
		}
	})
}

func TestProgressIsKept(t *testing.T) {
	dir := t.TempDir()
	p, fresh, err := loadProgress(dir, "b00t")
	if err != nil || !fresh || p.Events.Identity != "b00t" || p.Rows.MS != -1 {
		t.Fatalf("%+v %v %v", p, fresh, err)
	}
	p.Events.No, p.Rows.MS = 7, 12_000
	p.took(stretch{"b00t", 60_000, 120_000})
	if err := p.save(dir); err != nil {
		t.Fatal(err)
	}
	again, fresh, err := loadProgress(dir, "next")
	if err != nil || fresh {
		t.Fatal(fresh, err)
	}
	if diff := cmp.Diff(p, again); diff != "" {
		t.Errorf("-saved +loaded:\n%s", diff)
	}
	if err := os.WriteFile(filepath.Join(dir, progressFile), []byte(`{"events": {"no": -5}}`), 0o600); err != nil {
		t.Fatal(err)
	}
	if p, fresh, err := loadProgress(dir, "next"); err == nil || !fresh || p.Rows.Identity != "next" {
		t.Errorf("%+v %v %v", p, fresh, err)
	}
}

func FuzzProgress(f *testing.F) {
	f.Add([]byte(`{"events":{"run":1,"identity":"a","no":3},"rows":{"run":1,"identity":"a","ms":5},"ahead":[{"identity":"a","from":60000,"to":120000}]}`))
	f.Add([]byte(`{}`))
	f.Fuzz(func(t *testing.T, data []byte) {
		p, err := decodeProgress(data)
		if err != nil {
			return
		}
		if p.Events.Identity == "" || p.Rows.MS < -1 || len(p.Ahead) > mostAhead {
			t.Errorf("%+v", p)
		}
		p.took(stretch{p.Rows.Identity, p.Rows.MS + 1, p.Rows.MS + 2})
	})
}
