package trend_test

import (
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"fluewright/daemon/internal/trend"
	"fluewright/daemon/internal/trend/trendtest"
)

// DuckDB finds the same in the table and in the burn log of a night, by its own readers of
// both. It is the npm package @duckdb/node-api, on node's module path.
func TestDuckDBReadsTheTable(t *testing.T) {
	node, err := exec.LookPath("node")
	if err == nil {
		err = exec.Command(node, "-e", `require("@duckdb/node-api")`).Run()
	}
	if err != nil {
		if os.Getenv("FLUEWRIGHT_REAL") == "1" {
			t.Fatalf("node with @duckdb/node-api: %v", err)
		}
		t.Skipf("node with @duckdb/node-api: %v", err)
	}
	dir, out := t.TempDir(), t.TempDir()
	trendtest.Record(t, dir, night(t, "slow with gaps", 1, evening))
	a := open(t, dir)
	begin, end := a.Span()
	w := trend.Window{From: begin, To: end}
	site, err := trend.SiteOf(t.Context(), a, w, begin.Location())
	if err != nil {
		t.Fatal(err)
	}
	channels, err := trend.Channels(t.Context(), a, w, nil)
	if err != nil {
		t.Fatal(err)
	}
	create := func(name string) *os.File {
		file, err := os.Create(filepath.Join(out, name))
		if err != nil {
			t.Fatal(err)
		}
		t.Cleanup(func() { _ = file.Close() })
		return file
	}
	table, log := create("n.parquet"), create("n.csv")
	if err := trend.WriteParquet(t.Context(), table, a, site, w, channels, 0); err != nil {
		t.Fatal(err)
	}
	if err := trend.WriteLog(t.Context(), log, a, w, channels, 0); err != nil {
		t.Fatal(err)
	}
	script := exec.Command(node, "-e", `
const {DuckDBInstance} = require("@duckdb/node-api");
(async () => {
	const c = await (await DuckDBInstance.create()).connect();
	const ask = async q => (await c.runAndReadAll(q)).getRowsJson().map(r => r.join("|")).join("\n");
	const all = "SELECT * FROM 'n.parquet'", log = "SELECT * FROM read_csv('n.csv')";
	console.log(await ask("SELECT count(*) > 1000, count(DISTINCT time) = count(*) FROM 'n.parquet'"));
	console.log(await ask("SELECT (SELECT count(*) FROM (" + all + " EXCEPT " + log + ")) + (SELECT count(*) FROM (" + log + " EXCEPT " + all + "))"));
	console.log(await ask("SELECT typeof(time), typeof(flue_celsius) FROM 'n.parquet' LIMIT 1"));
})().catch(e => { console.error(e); process.exit(1); });`)
	script.Dir = out
	got, err := script.CombinedOutput()
	if want := "true|true\n0\nTIMESTAMP WITH TIME ZONE|DOUBLE\n"; err != nil || string(got) != want {
		t.Errorf("%v: %q, want %q", err, got, strings.TrimSpace(want))
	}
}
