package commission_test

import (
	"bytes"
	"encoding/json"
	"go/ast"
	"go/parser"
	"go/token"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"fluewright/analysis/commissioning"
	"fluewright/daemon/installer"
	"fluewright/daemon/internal/commission"
	"fluewright/daemon/internal/units"
)

// played plays a house of the demonstration.
func played(t *testing.T, name string) *commissioning.State {
	t.Helper()
	p, err := installer.Build(name, 1)
	if err != nil {
		t.Fatal(err)
	}
	if err := p.Play(); err != nil {
		t.Fatal(err)
	}
	return p.State
}

func about(u units.System) commission.About {
	return commission.About{
		Site: "maple-street", Made: time.Date(2026, 11, 3, 15, 4, 5, 0, time.UTC), ClockTrusted: true, Software: "test", Units: u,
		Instruments: []commission.Instrument{{Channels: "flue", Chip: "max31856"}, {Channels: "draft", Chip: "sdp810-125pa", Serial: "1234567890", Note: "zeroed 3 Nov 2026"}},
	}
}

func made(t *testing.T, name string, u units.System) commission.Record {
	t.Helper()
	r, err := commission.NewRecord(played(t, name), about(u), nil)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

func html(t *testing.T, r commission.Record) string {
	t.Helper()
	var b bytes.Buffer
	if err := r.WriteHTML(&b, time.UTC); err != nil {
		t.Fatal(err)
	}
	if dir := os.Getenv("FLUEWRIGHT_REPORTS"); dir != "" {
		name := strings.ReplaceAll(string(r.Verdict), " ", "-") + "-" + r.Units.String() + ".html"
		if err := os.WriteFile(filepath.Join(dir, name), b.Bytes(), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	return b.String()
}

func TestVerdicts(t *testing.T) {
	for name, want := range map[string]commission.Verdict{
		"tall": commission.Pass, "short": commission.PassCautions, "altitude": commission.PassCorrected, "blocked": commission.Stopped,
	} {
		if r := made(t, name, units.US); r.Verdict != want {
			t.Errorf("%s: %s, want %s", name, r.Verdict, want)
		}
	}
}

// The report stands alone: verdict, reasons, units, people, number and hash are in it.
func TestReport(t *testing.T) {
	for _, c := range []struct {
		house string
		units units.System
		has   []string
		not   []string
	}{
		{"tall", units.US, []string{"Result: pass<", "A virtual owner", "in. w.c.", "°F", "1234567890", "no serial number", "Draft over the regulator&#39;s mark", "Local code and the appliance"}, []string{" Pa<", "°C", "{value}", "{want}", "NaN"}},
		{"short", units.SI, []string{"pass with cautions", "stands outside", " Pa", "°C", "3-2-10"}, []string{"in. w.c.", "°F ", "{band}"}},
		{"altitude", units.US, []string{"Result: pass at corrected mark: from 1 to 3"}, nil},
		{"blocked", units.US, []string{"Result: stop", "does not draw", "Light nothing", "It was not done."}, []string{"Draft over the regulator"}},
	} {
		r := made(t, c.house, c.units)
		text := html(t, r)
		for _, want := range append(c.has, r.Number, r.SHA256) {
			if !strings.Contains(strings.ReplaceAll(text, "regulator's", "regulator&#39;s"), want) {
				t.Errorf("%s: there is no %q", c.house, want)
			}
		}
		for _, bad := range c.not {
			if strings.Contains(text, bad) {
				t.Errorf("%s: there is %q", c.house, bad)
			}
		}
	}
}

// Text that was typed cannot become part of the page.
func TestTypedTextIsEscaped(t *testing.T) {
	s := commissioning.New()
	s.Results[commissioning.Sensors] = commissioning.Result{Outcome: commissioning.Skipped, Reason: "<script>alert(1)</script>"}
	s.Given.People.Owner = "<b>Owner</b>"
	r, err := commission.NewRecord(s, about(units.US), nil)
	if err != nil {
		t.Fatal(err)
	}
	if text := html(t, r); strings.Contains(text, "<script>") || strings.Contains(text, "<b>Owner") {
		t.Error("typed text became markup")
	}
}

func TestARecordIsReadBackAndAChangeIsSeen(t *testing.T) {
	r := made(t, "altitude", units.US)
	var b bytes.Buffer
	if err := r.WriteJSON(&b); err != nil {
		t.Fatal(err)
	}
	again, err := commission.ParseRecord(b.Bytes())
	if err != nil {
		t.Fatal(err)
	}
	if again.Number != r.Number || again.State.Mark != r.State.Mark {
		t.Errorf("read back: %+v", again.About)
	}
	if _, err := commission.ParseRecord([]byte(strings.Replace(b.String(), `"mark": 3.`, `"mark": 2.`, 1))); err == nil {
		t.Error("a changed mark passes")
	}
	other := r.About
	other.Site = "elsewhere"
	second, err := commission.NewRecord(&r.State, other, nil)
	if err != nil || second.Number == r.Number {
		t.Errorf("two records with number %s (%v)", r.Number, err)
	}
}

func TestSeasonStartTellsWhatHasChanged(t *testing.T) {
	first := made(t, "tall", units.US)
	s := played(t, "tall")
	s.Season = true
	s.Numbers.Cold.Value *= 0.6
	s.Mark = first.State.Mark + 1
	r, err := commission.NewRecord(s, about(units.US), &first)
	if err != nil {
		t.Fatal(err)
	}
	text := html(t, r)
	for _, want := range []string{"Season start", first.Number, "60 % of what it was", "The mark was", "Sweep"} {
		if !strings.Contains(text, want) {
			t.Errorf("there is no %q", want)
		}
	}
}

// Every code that the procedure can find has words, and so has every task and check.
func TestNothingIsWithoutWords(t *testing.T) {
	files, err := filepath.Glob("../../../analysis/commissioning/*.go")
	if err != nil || len(files) < 5 {
		t.Fatal(files, err)
	}
	codes := map[string]bool{}
	for _, file := range files {
		if strings.HasSuffix(file, "_test.go") {
			continue
		}
		tree, err := parser.ParseFile(token.NewFileSet(), file, nil, 0)
		if err != nil {
			t.Fatal(err)
		}
		ast.Inspect(tree, func(n ast.Node) bool {
			if lit, ok := n.(*ast.BasicLit); ok && lit.Kind == token.STRING && !strings.Contains(lit.Value, "`") {
				if text, err := strconv.Unquote(lit.Value); err == nil {
					codes[text] = true
				}
			}
			return true
		})
	}
	known := 0
	for code := range codes {
		f := commissioning.Finding{Code: commissioning.Code(code), Known: true}
		if strings.HasSuffix(code, "-") && code != "not-" {
			f.Code += "flue"
		}
		if strings.TrimSuffix(commission.Finding(f, units.US).Text, ".") != string(f.Code) {
			known++
		}
	}
	// Those in calls of found, and those that become a finding's code.
	calls := foundIn(t, files)
	for code := range calls {
		if text := commission.Finding(commissioning.Finding{Code: commissioning.Code(code)}, units.US).Text; text == code {
			t.Errorf("%s has no words", code)
		}
	}
	if known < 70 || len(calls) < 40 {
		t.Errorf("only %d and %d codes seen", known, len(calls))
	}
	for step := range commissioning.Steps {
		if w := commission.Step(step); w.Title == "" || w.Why == "" {
			t.Errorf("%v has no words", step)
		}
		for _, task := range step.Tasks() {
			if commission.Task(&commissioning.State{Task: task}).Do == "" {
				t.Errorf("%s has no words", task)
			}
		}
	}
	for c := range commissioning.Checks {
		f := commissioning.Finding{Code: c.Code()}
		if commission.Check(c) == "" || commission.Finding(f, units.US).Text == string(c.Code()) {
			t.Errorf("check %d has no words", c)
		}
	}
}

// foundIn returns the first arguments of found, where they are written out.
func foundIn(t *testing.T, files []string) map[string]bool {
	t.Helper()
	all := map[string]bool{}
	for _, file := range files {
		if strings.HasSuffix(file, "_test.go") {
			continue
		}
		tree, err := parser.ParseFile(token.NewFileSet(), file, nil, 0)
		if err != nil {
			t.Fatal(err)
		}
		ast.Inspect(tree, func(n ast.Node) bool {
			call, ok := n.(*ast.CallExpr)
			if !ok || len(call.Args) == 0 {
				return true
			}
			if name, ok := call.Fun.(*ast.Ident); ok && name.Name == "found" {
				if lit, ok := call.Args[0].(*ast.BasicLit); ok {
					text, _ := strconv.Unquote(lit.Value)
					all[text] = true
				}
			}
			return true
		})
	}
	return all
}

// Nobody is ever told to touch the high limit control.
func TestTheHighLimitIsLeftAlone(t *testing.T) {
	for _, task := range commissioning.Limits.Tasks() {
		text := commission.Task(&commissioning.State{Task: task}).Do
		if strings.Contains(text, "limit") && !strings.Contains(text, "do not move, bypass or adjust it") {
			t.Errorf("%s: %s", task, text)
		}
	}
	if !strings.Contains(commission.First, "do not move, bypass or adjust it") {
		t.Error(commission.First)
	}
}

func FuzzParse(f *testing.F) {
	state, err := json.Marshal(commissioning.New())
	if err != nil {
		f.Fatal(err)
	}
	f.Add(state)
	f.Add([]byte(`{"version":1,"now":200,"task":"zero"}`))
	f.Fuzz(func(t *testing.T, data []byte) {
		if s, err := commission.Parse(data); err == nil {
			commission.Look(s, units.US)
			if r, err := commission.NewRecord(s, about(units.US), nil); err == nil {
				var b bytes.Buffer
				_ = r.WriteHTML(&b, time.UTC) // a picture may be refused; nothing may panic
			}
		}
		_, _ = commission.ParseRecord(data)
	})
}
