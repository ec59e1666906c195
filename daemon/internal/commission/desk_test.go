package commission_test

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"io"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"fluewright/analysis/burn"
	"fluewright/analysis/commissioning"
	"fluewright/analysis/frame"
	"fluewright/daemon/internal/commission"
	"fluewright/daemon/internal/units"
)

var evening = time.Date(2026, 11, 3, 18, 0, 0, 0, time.UTC)

// deskIn returns a desk over a state directory, and what it hands to the history.
func deskIn(t *testing.T, dir string, now time.Time) (*commission.Desk, *[][]byte) {
	t.Helper()
	var records [][]byte
	d := commission.NewDesk(commission.DeskOptions{
		Dir: dir, Units: units.US, About: func() commission.About { return about(units.US) },
		Keep: func(r []byte) { records = append(records, r) },
		Site: commissioning.Site{DraftLow: 10, DraftHigh: 15, Construction: commissioning.Insulated, Height: 8, Diameter: 0.15, AboveRoof: 1, AboveNear: 1},
		Say:  func(msg string, args ...any) { t.Log(msg, args) },
	}, now, true)
	return d, &records
}

// frames gives a desk a cold, quiet furnace with its hoses off.
func frames(d *commission.Desk, from time.Time, start, n int) {
	for i := range n {
		at := time.Duration(start+i) * time.Second
		d.Step(commissioning.Look{At: at, Values: frame.Values{20, 20, 20, 20, 20, 20, 0, 0, 101325}, Phase: burn.Cold}, from.Add(at), true)
	}
}

func answer(t *testing.T, d *commission.Desk, e commissioning.Entry) {
	t.Helper()
	v, _ := d.View()
	e.Step, e.Task = v.Now, v.Task
	if err := d.Answer(e); err != nil {
		t.Fatalf("%v, %s: %v", v.Now, v.Task, err)
	}
}

func TestADeskGoesOnAfterARestart(t *testing.T) {
	dir := t.TempDir()
	d, _ := deskIn(t, dir, evening)
	if err := d.Answer(commissioning.Entry{}); !errors.Is(err, commission.ErrNone) {
		t.Errorf("an answer to nothing: %v", err)
	}
	if err := d.Begin(false); err != nil {
		t.Fatal(err)
	}
	if err := d.Begin(false); err == nil {
		t.Error("a second one was begun over the first")
	}
	site := d.Site()
	answer(t, d, commissioning.Entry{Kind: commissioning.Give, Site: &site})
	// The power fails: nothing else is said to the desk.
	d, _ = deskIn(t, dir, evening.Add(24*time.Hour))
	v, ok := d.View()
	if !ok || v.Now != commissioning.ByEye || v.Steps[0].Outcome != "pass with cautions" {
		t.Fatalf("after a restart it stands at %v, %v", v.Now, ok)
	}
	var seen [commissioning.Checks]commissioning.Seen
	for i := range seen {
		seen[i] = commissioning.Yes
	}
	answer(t, d, commissioning.Entry{Kind: commissioning.Give, Checks: &seen})
	frames(d, evening, 0, 5)
	answer(t, d, commissioning.Entry{Kind: commissioning.Ready})
	frames(d, evening, 5, 70)
	select {
	case <-d.Wake():
	default:
		t.Error("a result asks for no saving")
	}
	if err := d.Save(); err != nil {
		t.Fatal(err)
	}
	d, _ = deskIn(t, dir, evening)
	if v, _ := d.View(); v.Task != commissioning.BlowHose || len(v.Steps[commissioning.Sensors].Lines) != 1 {
		t.Errorf("it stands at %s: %+v", v.Task, v.Steps[commissioning.Sensors])
	}
}

func TestABrokenFileIsSetAside(t *testing.T) {
	dir := t.TempDir()
	if err := os.WriteFile(filepath.Join(dir, commission.FileName), []byte(`{"saved":`), 0o600); err != nil {
		t.Fatal(err)
	}
	d, _ := deskIn(t, dir, evening)
	if _, ok := d.View(); ok {
		t.Error("something is under way")
	}
	if _, err := os.Stat(filepath.Join(dir, commission.BrokenName)); err != nil {
		t.Error(err)
	}
	if err := d.Begin(false); err != nil {
		t.Error(err)
	}
}

// A record of one that was ended early is kept in the history, and none to compare with.
func TestClosing(t *testing.T) {
	dir := t.TempDir()
	d, records := deskIn(t, dir, evening)
	if err := d.Begin(true); err == nil {
		t.Error("a season was begun without a commissioning")
	}
	if err := d.Begin(false); err != nil {
		t.Fatal(err)
	}
	r, err := d.Close()
	if err != nil || r.Verdict != commission.NotComplete {
		t.Fatalf("%s, %v", r.Verdict, err)
	}
	if len(*records) != 1 {
		t.Fatalf("%d records", len(*records))
	}
	if again, err := commission.ParseRecord((*records)[0]); err != nil || again.Number != r.Number {
		t.Errorf("%s, %v", again.Number, err)
	}
	if _, err := d.Last(); err == nil {
		t.Error("half a commissioning is there to compare with")
	}
	if _, ok := d.View(); ok {
		t.Error("it is still under way")
	}
}

// After a whole commissioning a season's start can be made, in any later run.
func TestASeasonFollowsACommissioning(t *testing.T) {
	dir := t.TempDir()
	whole := played(t, "tall")
	state, err := json.Marshal(whole)
	if err != nil {
		t.Fatal(err)
	}
	file, err := json.Marshal(map[string]any{"saved": evening, "clock_trusted": true, "state": json.RawMessage(state)})
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(dir, commission.FileName), file, 0o600); err != nil {
		t.Fatal(err)
	}
	d, _ := deskIn(t, dir, evening)
	if _, ok := d.Reference(); ok {
		t.Error("there is something to hold the present against before anything was commissioned")
	}
	r, err := d.Close()
	if err != nil {
		t.Fatal(err)
	}
	then, ok := d.Reference()
	if !ok || then.Number != r.Number || then.Verdict != r.Verdict || then.Draft <= 0 || then.Drive <= 0 || then.Cold <= 0 {
		t.Errorf("the present is held against %+v, %v", then, ok)
	}
	d, _ = deskIn(t, dir, evening)
	if again, ok := d.Reference(); !ok || again != then {
		t.Errorf("in a later run against %+v, %v", again, ok)
	}
	if err := d.Begin(true); err != nil {
		t.Fatal(err)
	}
	if v, _ := d.View(); v.Now != commissioning.Sensors {
		t.Errorf("it begins at %v", v.Now)
	}
}

// talk plays a conversation; frames come while it waits.
func talk(t *testing.T, d *commission.Desk, typed string) (string, commission.Record, bool) {
	t.Helper()
	var out bytes.Buffer
	second := 0
	frames(d, evening, second, 1)
	c := &commission.Talk{
		Procedure: d, In: strings.NewReader(typed), Out: &out, Units: units.US,
		Wait: func(context.Context) error {
			second++
			frames(d, evening, second, 1)
			return nil
		},
	}
	r, left, err := c.Run(t.Context())
	if err != nil {
		t.Fatalf("%v\n%s", err, &out)
	}
	return out.String(), r, left
}

func TestAConversation(t *testing.T) {
	dir := t.TempDir()
	d, _ := deskIn(t, dir, evening)
	if err := d.Begin(false); err != nil {
		t.Fatal(err)
	}
	site := "0.04 inH2O\nten\n0.06 inH2O\n\nbrick\nmasonry\ny\n24 ft\n\n\n\n\n\n\nn\n120 sq in\n18\n\n0 degC\n"
	text, _, left := talk(t, d, site+strings.Repeat("y\n", int(commissioning.Checks))+"what\nready\n")
	for _, want := range []string{
		"Local code and the appliance's manual go first", "Lowest draft that the appliance asks for [0.04015 inH2O]",
		"\"brick\" is none of insulated, masonry, single-wall", "The chimney stands outside", "120 sq in. free; 180 sq in. is asked for", "Carbon-monoxide alarms", "Type \"ready\"", "Zero of the draft sensor",
	} {
		if !strings.Contains(text, want) {
			t.Errorf("there is no %q in\n%s", want, text)
		}
	}
	if !left {
		t.Error("it did not say that it goes on")
	}
	text, r, left := talk(t, d, "skip no hose at hand\nskip a test\nskip a test\nskip a test\nskip a test\nskip a test\n\nreport\n")
	if left || r.Verdict != commission.NotComplete || r.State.Results[commissioning.Sensors].Reason != "no hose at hand" {
		t.Errorf("%v %s %+v\n%s", left, r.Verdict, r.State.Results[commissioning.Sensors], text)
	}
	if !strings.Contains(text, "it goes on at: Sensors") {
		t.Errorf("it does not say where it goes on:\n%s", text)
	}
}

// Refusals are told with their reason, and the conversation goes on.
func TestARefusalIsTold(t *testing.T) {
	d, _ := deskIn(t, t.TempDir(), evening)
	if err := d.Begin(false); err != nil {
		t.Fatal(err)
	}
	site := d.Site()
	answer(t, d, commissioning.Entry{Kind: commissioning.Give, Site: &site})
	var seen [commissioning.Checks]commissioning.Seen
	for i := range seen {
		seen[i] = commissioning.Yes
	}
	answer(t, d, commissioning.Entry{Kind: commissioning.Give, Checks: &seen})
	hot := frame.Values{300, 500, 200, 50, 20, 20, 0, 12, math.NaN()}
	d.Step(commissioning.Look{At: time.Second, Values: hot, Phase: burn.CleanBurn}, evening, true)
	var out bytes.Buffer
	c := &commission.Talk{Procedure: d, In: io.MultiReader(strings.NewReader("ready\nskip\nquit\n")), Out: &out, Units: units.US}
	if _, left, err := c.Run(t.Context()); err != nil || !left {
		t.Fatal(left, err)
	}
	for _, want := range []string{"Not taken: A fire burns", "Not taken: Say why it is left out"} {
		if !strings.Contains(out.String(), want) {
			t.Errorf("there is no %q in\n%s", want, out.String())
		}
	}
}

// What a form begins with can be read again, and says the same; what is a matter of safety
// begins with nothing.
func TestForms(t *testing.T) {
	for _, u := range []units.System{units.US, units.SI} {
		site := commissioning.Site{
			DraftLow: 10, DraftHigh: 15, Heat: 29307, Construction: commissioning.Masonry, Outside: true, Height: 7.6, Diameter: 0.2,
			AboveRoof: 1, AboveNear: 0.7, ConnectorLength: 2, ConnectorRise: 0.5, Elbows: 2, DuctArea: 0.12, Moisture: 0.18, Altitude: 300, Outdoor: -7,
			Regulator: commissioning.Regulator{Fitted: true, Mark: 3.25},
		}
		site.Regulator.Scale.Low, site.Regulator.Scale.High = 1, 7
		got := site
		for _, f := range commission.SiteForm(&got, u) {
			if err := f.Take(f.Value); err != nil {
				t.Errorf("%v, %s: %v", u, f.Key, err)
			}
		}
		for _, p := range [][2]float64{{got.Height, site.Height}, {got.DuctArea, site.DuctArea}, {got.Diameter, site.Diameter}, {got.Heat, site.Heat}, {got.Outdoor, site.Outdoor}, {got.DraftLow, site.DraftLow}} {
			if math.Abs(p[0]-p[1]) > 2e-3*math.Abs(p[1]) {
				t.Errorf("%v: %g became %g", u, p[1], p[0])
			}
		}
		if got.Elbows != 2 || got.Regulator.Mark != 3.25 || !got.Outside || got.Moisture != 0.18 {
			t.Errorf("%v: %+v", u, got)
		}
		for _, f := range commission.LimitForm(&commissioning.LimitEntry{}, u) {
			if f.Value != "" || f.Take("") == nil {
				t.Errorf("%s is answered by nothing", f.Key)
			}
		}
	}
	for _, f := range append(commission.AlarmForm(&commissioning.AlarmEntry{}), commission.CheckForm(&[commissioning.Checks]commissioning.Seen{})...) {
		if f.Value != "" || f.Take("") == nil {
			t.Errorf("%s is answered by nothing", f.Key)
		}
	}
}
