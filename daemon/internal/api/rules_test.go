package api

import (
	"bytes"
	"compress/gzip"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"net/http"
	"net/http/httptest"
	"reflect"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"fluewright/analysis"
	"fluewright/analysis/alarm"
	"fluewright/analysis/frame"
	"fluewright/daemon/internal/access"
	"fluewright/daemon/internal/command"
	"fluewright/daemon/internal/status"
	"fluewright/daemon/internal/status/statustest"
	"fluewright/daemon/internal/trend/trendtest"
	"fluewright/sensors"
)

// gets are the addresses that are read, with what fills them.
var gets = []string{
	"state", "alarms", "alarms/history", "burns", "burns/1", "sensors", "upkeep", "notes", "about", "commissioning",
	"trend?columns=50", "trend/statistics", "openapi.json",
}

// Whoever has an answer already is not sent it again, and what is long is compressed.
func TestNothingIsSentTwice(t *testing.T) {
	o, _ := furnished(t, past(t))
	h := behind(o, nil)
	for _, path := range gets {
		path = prefix + path
		plain := get(h, path)
		tag := plain.Header().Get("ETag")
		if plain.Code != http.StatusOK || tag == "" || plain.Header().Get("Cache-Control") != "private, no-cache" {
			t.Errorf("%s: %d %v", path, plain.Code, plain.Header())
		}
		if w := get(h, path, "If-None-Match", tag); w.Code != http.StatusNotModified || w.Body.Len() > 0 {
			t.Errorf("%s: %d to whoever has it", path, w.Code)
		}
		if w := get(h, path, "If-None-Match", `"another"`); w.Code != http.StatusOK {
			t.Errorf("%s: %d to whoever has another", path, w.Code)
		}
		zipped := get(h, path, "Accept-Encoding", "gzip")
		if short := plain.Body.Len() < leastCompressed; short != (zipped.Header().Get("Content-Encoding") == "") {
			t.Errorf("%s: %d bytes, %q", path, plain.Body.Len(), zipped.Header().Get("Content-Encoding"))
		} else if !short {
			z, err := gzip.NewReader(zipped.Body)
			if err != nil {
				t.Fatal(err)
			}
			if b, err := io.ReadAll(z); err != nil || !bytes.Equal(b, plain.Body.Bytes()) {
				t.Errorf("%s: compressed it is something else: %v", path, err)
			}
		}
	}
	o.Feed.Publish(statustest.After(o.Feed.Latest(), time.Second))
	if w := get(behind(o, nil), prefix+"state", "If-None-Match", get(h, prefix+"about").Header().Get("ETag")); w.Code != http.StatusOK {
		t.Error("the tag of one answer is that of another")
	}
}

// Who may do what, with a session and with a token.
func TestRights(t *testing.T) {
	accounts := access.Load(t.TempDir())
	const password = "a long dry birch log"
	sessions, tokens := map[access.Role]string{}, map[access.Role]string{}
	for _, role := range access.Roles {
		if err := accounts.Add(t.Context(), "A "+string(role), role, password); err != nil {
			t.Fatal(err)
		}
		r := httptest.NewRequest("GET", "/", nil)
		id, err := accounts.SignIn(t.Context(), access.From(r), "A "+string(role), password)
		if err != nil {
			t.Fatal(err)
		}
		w := httptest.NewRecorder()
		access.Begin(w, r, id)
		sessions[role] = strings.Split(w.Header().Get("Set-Cookie"), ";")[0]
	}
	for _, role := range access.MachineRoles {
		text, err := accounts.AddToken("program "+string(role), role)
		if err != nil {
			t.Fatal(err)
		}
		tokens[role] = "Bearer " + text
	}
	o, done := furnished(t, past(t))
	h := behind(o, &access.Gate{Accounts: accounts})
	const occurrence, entry = `{"alarm":"overheat","channel":"flue","occurrence":1}`, `{"kind":"other","text":"a new hose"}`
	for _, tt := range []struct {
		who             string
		headers         []string
		read, take, log int
	}{
		{"nobody", nil, 401, 401, 401},
		{"a wrong token", []string{"Authorization", "Bearer fw_wrong"}, 401, 401, 401},
		{"viewer", []string{"Cookie", sessions[access.Viewer]}, 200, 403, 403},
		{"technician", []string{"Cookie", sessions[access.Technician]}, 200, 403, 204},
		{"installer", []string{"Cookie", sessions[access.Installer]}, 200, 204, 204},
		{"owner", []string{"Cookie", sessions[access.Owner]}, 200, 204, 204},
		{"viewer's token", []string{"Authorization", tokens[access.Viewer]}, 200, 403, 403},
		{"technician's token", []string{"Authorization", tokens[access.Technician]}, 200, 403, 204},
	} {
		for _, path := range gets {
			if w := get(h, prefix+path, tt.headers...); w.Code != tt.read {
				t.Errorf("%s: GET %s answers %d, want %d", tt.who, path, w.Code, tt.read)
			} else if kind := w.Header().Get("Content-Type"); w.Code != 200 && kind != "application/problem+json" {
				t.Errorf("%s: GET %s is refused as %s", tt.who, path, kind)
			}
		}
		done.taken, done.notes, done.by = nil, nil, ""
		if w := post(h, prefix+"alarms/acknowledge", occurrence, tt.headers...); w.Code != tt.take || (len(done.taken) > 0) != (tt.take == 204) {
			t.Errorf("%s: acknowledging answers %d, want %d; done: %v", tt.who, w.Code, tt.take, done.taken)
		}
		if w := post(h, prefix+"notes", entry, tt.headers...); w.Code != tt.log || (len(done.notes) > 0) != (tt.log == 204) {
			t.Errorf("%s: a note answers %d, want %d", tt.who, w.Code, tt.log)
		}
		if who := strings.ReplaceAll(tt.who, "'s token", ""); tt.log == 204 && done.by != "A "+who && done.by != "program "+who {
			t.Errorf("%s: done in the name of %q", tt.who, done.by)
		}
		if w := get(h, prefix+"nowhere", tt.headers...); w.Code == 200 || tt.read == 401 && w.Code != 401 {
			t.Errorf("%s: nowhere answers %d", tt.who, w.Code)
		}
	}
}

// What is not asked for rightly is refused, and nothing is done.
func TestNothingIsTakenHalf(t *testing.T) {
	o, done := furnished(t, past(t))
	h := behind(o, nil)
	const take, note = "POST alarms/acknowledge", "POST notes"
	for _, tt := range []struct {
		where, body string
		code        int
		says        string
	}{
		{"GET state?at=1", "", 400, "no parameters"},
		{"GET alarms?", "", 200, ""},
		{"GET about?x", "", 400, "no parameters"},
		{"GET burns/0", "", 404, "no burn"},
		{"GET burns/-1", "", 404, "no burn"},
		{"GET burns/last", "", 404, "no burn"},
		{"GET burns/99999999999999999999", "", 404, "no burn"},
		{"GET burns/1?x=1", "", 400, "no parameters"},
		{"GET notes?limit=0", "", 400, "1 to 1000"},
		{"GET notes?limit=1001", "", 400, "1 to 1000"},
		{"GET notes?limit=1000", "", 200, ""},
		{"GET notes?limit=1&limit=2", "", 400, "more than once"},
		{"GET burns?before=0", "", 400, "older"},
		{"GET alarms/history?before=x", "", 400, "older"},
		{"GET alarms/history?befor=1", "", 400, "there is no"},
		{"GET burns?limit=%zz", "", 400, "cannot be read"},
		{"GET nowhere", "", 404, "openapi.json"},
		{"GET alarms/acknowledge", "", 405, "POST only"},
		{"POST state", "", 405, "GET, HEAD only"},
		{"DELETE notes", "", 405, "GET, HEAD, POST only"},
		{"PUT burns/1", "", 405, "GET, HEAD only"},
		{take, "", 400, "cannot be read"},
		{take, "null", 422, "alarm and occurrence"},
		{take, `{"alarm":"overheat","channel":"flue","occurrence":1} {}`, 400, "behind"},
		{take, `{"alarm":"overheat","channel":"flue","occurrence":1,"all":true}`, 400, "unknown field"},
		{take, `{"alarm":"overheat","channel":"flue","occurrence":-1}`, 400, "cannot be read"},
		{take, `{"alarm":"overheat","channel":"moon","occurrence":1}`, 422, "no channel"},
		{take, `{"alarm":"overheat","channel":"flue","occurrence":0}`, 422, "occurrence"},
		{take, `{"alarm":"overheat","channel":"flue","occurrence":2}`, 409, "not the latest"},
		{take, `{"alarm":"flood","occurrence":2}`, 404, "no alarm flood"},
		{take + "?x=1", `{"alarm":"overheat","channel":"flue","occurrence":1}`, 400, "no parameters"},
		{note, `[]`, 400, "cannot be read"},
		{note, `{"kind":"gossip","text":"x"}`, 422, "kind is one of"},
		{note, `{"kind":"other"}`, 422, "text is missing"},
		{note, `{"kind":"fuel","moisture":18}`, 422, "share of the wet mass"},
		{note, `{"kind":"other","text":"` + strings.Repeat("x", 1001) + `"}`, 422, "1000 characters"},
		{note, `{"kind":"other","text":"a\u0000b"}`, 422, "cannot be seen"},
		{note, `{"kind":"other","text":"` + strings.Repeat("x", maxSent) + `"}`, 413, "16384 bytes"},
	} {
		method, path, _ := strings.Cut(tt.where, " ")
		r := httptest.NewRequest(method, prefix+path, strings.NewReader(tt.body))
		r.Header.Set("Content-Type", "application/json; charset=utf-8")
		w := httptest.NewRecorder()
		h.ServeHTTP(w, r)
		if w.Code != tt.code || !strings.Contains(w.Body.String(), tt.says) {
			t.Errorf("%s %.80s answers %d %s; want %d, %q", tt.where, tt.body, w.Code, w.Body, tt.code, tt.says)
		}
		if w.Code >= 400 && w.Header().Get("Content-Type") != "application/problem+json" {
			t.Errorf("%s is refused as %s", tt.where, w.Header().Get("Content-Type"))
		}
	}
	for _, kind := range []string{"", "text/plain", "application/x-www-form-urlencoded", "multipart/form-data; boundary=x"} {
		if w := post(h, prefix+"notes", `{"kind":"ash"}`, "Content-Type", kind); w.Code != http.StatusUnsupportedMediaType {
			t.Errorf("%q is taken: %d", kind, w.Code)
		}
	}
	if len(done.taken)+len(done.notes) > 0 {
		t.Errorf("done all the same: %v %v", done.taken, done.notes)
	}
	done.err = errors.New("the loop is busy")
	for path, body := range map[string]string{"alarms/acknowledge": `{"alarm":"overheat","channel":"flue","occurrence":1}`, "notes": `{"kind":"ash"}`} {
		if w := post(h, prefix+path, body); w.Code != http.StatusServiceUnavailable || !strings.Contains(w.Body.String(), "not known") || strings.Contains(w.Body.String(), "busy") {
			t.Errorf("%s: %d %s", path, w.Code, w.Body)
		}
	}
	done.err = command.Refuse(command.Nothing, "this monitor keeps no history")
	if w := post(h, prefix+"notes", `{"kind":"ash"}`); w.Code != http.StatusNotFound {
		t.Error(w.Code, w.Body)
	}
}

// Whoever acknowledges sees it with the next question, with the name.
func TestAcknowledgedIsShown(t *testing.T) {
	o, _ := furnished(t, nil)
	h := behind(o, nil)
	look := func() (a Alarm) {
		var all struct{ Standing []Alarm }
		if err := json.Unmarshal(get(h, prefix+"alarms").Body.Bytes(), &all); err != nil || len(all.Standing) == 0 {
			t.Fatal(err)
		}
		return all.Standing[0]
	}
	a := look()
	if a.Alarm.Alarm != "overheat" || a.Acknowledged || a.ExpectedAt == nil || len(a.Causes) != 1 {
		t.Fatalf("%+v", a)
	}
	body := fmt.Sprintf(`{"alarm":%q,"channel":%q,"occurrence":%d}`, a.Alarm.Alarm, a.Channel, a.Occurrence)
	if w := post(h, prefix+"alarms/acknowledge", body); w.Code != http.StatusNoContent {
		t.Fatal(w.Code, w.Body)
	}
	if a = look(); !a.Acknowledged || a.By != "Ann" || a.At == nil || !a.At.Equal(statustest.Wall) {
		t.Errorf("%+v", a)
	}
}

// An answer that comes from readings that are missing, old or doubted does not reassure.
func TestTheStateDoesNotReassure(t *testing.T) {
	cold := func(s *status.Status) { statustest.Lose(s, frame.Draft, sensors.NoAnswer) }
	for _, tt := range []struct {
		name   string
		change func(*status.Status)
		silent bool
		level  string
		phase  string
		draft  string
	}{
		{"all is well", func(*status.Status) {}, false, "well", "clean-burn", "within"},
		{"a lost flue", func(s *status.Status) { statustest.Lose(s, frame.Flue, sensors.OpenCircuit) }, false, "blind", "unknown", "within"},
		{"a lost draft", cold, false, "blind", "clean-burn", "unknown"},
		{"a phase that is held", func(s *status.Status) { s.Assessment.PhaseHeld = true }, false, "blind", "unknown", "within"},
		{"a turned draft", func(s *status.Status) { s.Assessment.Draft.Value = -1 }, false, "well", "clean-burn", "turned"},
		{"a weak draft", func(s *status.Status) { s.Assessment.Draft.Value = 1 }, false, "well", "clean-burn", "below"},
		{"nothing read for long", func(*status.Status) {}, true, "blind", "unknown", "unknown"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				o, _ := furnished(t, nil)
				o.StaleAfter = 5 * time.Second
				s := statustest.Burning()
				s.Assessment.Forecasts[frame.Flue].Known = true
				tt.change(s)
				o.Feed.Publish(s)
				if tt.silent {
					time.Sleep(time.Minute)
				}
				var got State
				if err := json.Unmarshal(get(behind(o, nil), prefix+"state").Body.Bytes(), &got); err != nil {
					t.Fatal(err)
				}
				if got.Verdict.Level != tt.level || got.Fire.Phase != tt.phase || got.Draft.Position != tt.draft {
					t.Errorf("%s, %s, %s", got.Verdict.Level, got.Fire.Phase, got.Draft.Position)
				}
				told := tt.phase != "unknown"
				if (got.Fire.Burning != nil) != told || (got.Fire.Since != nil) != told || (got.Burn != nil) != told {
					t.Errorf("of a fire that cannot be told: %+v %+v", got.Fire, got.Burn)
				}
				if (got.Draft.Value == nil) != (tt.draft == "unknown") || (got.Draft.Value == nil && got.Draft.Quality == "good") {
					t.Errorf("%+v", got.Draft)
				}
				for _, r := range got.Readings {
					lost := tt.silent || !s.Frame.Inputs[channelCalled(r.Channel)].Usable()
					if (r.Value == nil) != lost || lost && r.Quality == "good" {
						t.Errorf("%+v", r)
					}
				}
				for _, f := range got.Forecasts {
					if c := channelCalled(f.Channel); f.Known != (c == frame.Flue && !tt.silent && s.Frame.Inputs[c].Usable()) {
						t.Errorf("%+v", f)
					}
				}
				if (got.Silent != nil) != tt.silent {
					t.Errorf("silent: %v", got.Silent)
				}
				var alarms Alarms
				if err := json.Unmarshal(get(behind(o, nil), prefix+"alarms").Body.Bytes(), &alarms); err != nil {
					t.Fatal(err)
				}
				for _, a := range append(alarms.Standing, alarms.Watched...) {
					if (a.Occurrence == 0) != (a.Message == "") {
						t.Errorf("%s, raised %d times: %q", a.Alarm.Alarm, a.Occurrence, a.Message)
					}
					if tt.silent && !a.Blind {
						t.Errorf("%s is judged", a.Alarm.Alarm)
					}
				}
			})
		})
	}
}

func channelCalled(name string) frame.Channel {
	c, _ := frame.Parse(name)
	return c
}

// The pages of a list are the list.
func TestPagesAreTheList(t *testing.T) {
	k := trendtest.Keep(t, t.TempDir(), statustest.Wall.Add(-400*time.Hour))
	for i := range 30 {
		at := time.Duration(i+1) * 10 * time.Hour
		k.At(at, k.Alarm(alarm.DraftHigh, frame.Count, alarm.WasRaised))
		k.Note("Ann", fmt.Sprintf("note %d", i))
		k.At(at+time.Hour, k.Alarm(alarm.DraftHigh, frame.Count, alarm.WasCleared))
		k.At(at+6*time.Hour, k.Burn(at+6*time.Hour, 5*time.Hour))
	}
	k.Settle()
	o, _ := furnished(t, k)
	h := behind(o, nil)
	for path, member := range map[string]string{"burns": "burns", "notes": "notes", "alarms/history": "alarms"} {
		list := func(query string) (all []any, older float64) {
			var page map[string]any
			if w := get(h, prefix+path+query); w.Code != 200 || json.Unmarshal(w.Body.Bytes(), &page) != nil {
				t.Fatal(path, query, w.Code, w.Body)
			}
			older, _ = page["older"].(float64)
			return page[member].([]any), older
		}
		whole, more := list("?limit=1000")
		if len(whole) != 30 || more != 0 {
			t.Errorf("%s: %d, and more from %v", path, len(whole), more)
		}
		var got []any
		query := "?limit=7"
		for range 10 {
			some, older := list(query)
			if len(some) > 7 {
				t.Errorf("%s%s: %d", path, query, len(some))
			}
			if got = append(got, some...); older == 0 {
				break
			}
			query = fmt.Sprintf("?limit=7&before=%.0f", older)
		}
		if !reflect.DeepEqual(got, whole) {
			t.Errorf("%s: the pages hold %d of %d", path, len(got), len(whole))
		}
	}
}

// A record that was changed is not shown as if there were none, and no secret is shown.
func TestWhatIsNotShown(t *testing.T) {
	o, _ := furnished(t, nil)
	o.Commission = underWay{errors.New("it was changed")}
	if w := get(behind(o, nil), prefix+"commissioning"); !strings.Contains(w.Body.String(), `"last":null,"last_error":"it was changed"`) {
		t.Error(w.Body)
	}
	o.Commission = underWay{fs.ErrNotExist}
	if w := get(behind(o, nil), prefix+"commissioning"); strings.Contains(w.Body.String(), "last_error") {
		t.Error(w.Body)
	}
	if w := get(behind(o, nil), prefix+"about"); strings.Contains(w.Body.String(), "hush") || !strings.Contains(w.Body.String(), "(removed)") {
		t.Error(w.Body)
	}
}

// A number that is none comes out as null, whatever the analysis says.
func TestNumbersThatAreNone(t *testing.T) {
	o, _ := furnished(t, nil)
	s := statustest.Burning()
	nan := number(0)
	*nan /= *nan
	s.Assessment.Draft.Value = *nan
	s.Frame.Inputs[frame.Flue].Value = *nan
	s.Assessment.Burn.MeanDraft, s.Assessment.Plenum.Limit = *nan, *nan
	s.Assessment.Forecasts[frame.Firebox].Known, s.Assessment.Forecasts[frame.Firebox].Peak = true, *nan
	s.Assessment.Accounts = make([]analysis.Account, len(s.Assessment.Alarms))
	o.Feed.Publish(s)
	_, schemas := described(t)
	operations, _ := described(t)
	for _, path := range []string{"state", "alarms", "sensors"} {
		w := get(behind(o, nil), prefix+path)
		if err := holds(operations["GET "+prefix+path], schemas, w); err != nil || w.Code != 200 {
			t.Error(path, w.Code, err)
		}
	}
}

// FuzzQuery: whatever is asked, the answer is one that the document names.
func FuzzQuery(f *testing.F) {
	o, _ := furnished(f, past(f))
	h := behind(o, nil)
	operations, schemas := described(f)
	for i := range gets {
		f.Add(uint8(i), "limit=3&before=9")
	}
	f.Add(uint8(2), "limit=1000")
	f.Add(uint8(3), "before=9223372036854775807")
	f.Add(uint8(10), "from=1&to=2&columns=3&channels=flue,draft&since=1h&burn=last")
	f.Fuzz(func(t *testing.T, which uint8, query string) {
		path, _, _ := strings.Cut(gets[int(which)%len(gets)], "?")
		r := httptest.NewRequest("GET", prefix+path, nil)
		r.URL.RawQuery = query
		w := httptest.NewRecorder()
		h.ServeHTTP(w, r)
		key := "GET " + prefix + strings.Replace(path, "burns/1", "burns/{number}", 1)
		if err := holds(operations[key], schemas, w); err != nil || w.Code >= 500 {
			t.Errorf("%s?%s: %d %v", path, query, w.Code, err)
		}
	})
}

// FuzzBody: whatever is sent, nothing is done that was not asked for rightly.
func FuzzBody(f *testing.F) {
	operations, schemas := described(f)
	f.Add(true, []byte(`{"alarm":"overheat","channel":"flue","occurrence":1}`))
	f.Add(false, []byte(`{"kind":"fuel","wood":"birch","kilograms":12,"moisture":0.18,"text":"x"}`))
	f.Add(false, []byte(`{"kind":"other","text":"ash: not yet"}`))
	f.Fuzz(func(t *testing.T, take bool, body []byte) {
		o, done := furnished(t, nil)
		path := prefix + "notes"
		if take {
			path = prefix + "alarms/acknowledge"
		}
		w := post(behind(o, nil), path, string(body))
		if err := holds(operations["POST "+path], schemas, w); err != nil {
			t.Error(err)
		}
		if w.Code != http.StatusNoContent && len(done.taken)+len(done.notes) > 0 {
			t.Errorf("%d, and done all the same", w.Code)
		}
		for _, e := range done.notes {
			if err := e.Check(); err != nil {
				t.Error(err)
			}
		}
	})
}
