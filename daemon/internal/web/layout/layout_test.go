package layout

import (
	"log/slog"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"testing/fstest"

	"fluewright/daemon/internal/access"
)

func serve(t *testing.T, o Options, path string, who access.Person) string {
	t.Helper()
	o.Log = slog.New(slog.DiscardHandler)
	s, err := New(o)
	if err != nil {
		t.Fatal(err)
	}
	page := s.Parse(fstest.MapFS{"x.html": {Data: []byte(`{{define "main"}}<p>{{.}}</p>{{end}}`)}}, "x.html")
	r := httptest.NewRequest("GET", path, nil)
	w := httptest.NewRecorder()
	page.Serve(w, r.WithContext(access.With(r.Context(), who)), http.StatusOK, Page{Title: "A page", Data: "what it says"})
	return w.Body.String()
}

// On a telephone some pages are a tap farther away: there the way says where one is.
func TestTheWaySaysWhereOneIs(t *testing.T) {
	for path, want := range map[string]string{
		"/":             `<a href="/" aria-current="page">Now</a>`,
		"/alarms":       `<a href="/alarms" aria-current="page">Alarms</a>`,
		"/burns/17":     `<a href="/burns" aria-current="page">Burns</a>`,
		"/sensors":      `<summary class="here">More<span class="unseen">: Sensors</span></summary>`,
		"/upkeep/":      `<summary class="here">More<span class="unseen">: Upkeep</span></summary>`,
		"/sensors-else": `<summary>More</summary>`,
	} {
		got := serve(t, Options{Site: "cellar"}, path, access.Person{})
		if !strings.Contains(got, want) {
			t.Errorf("%s does not have %s", path, want)
		}
		if path != "/" && strings.Contains(got, `<a href="/" aria-current`) {
			t.Errorf("%s is not the first page", path)
		}
	}
}

// What somebody may not do is hidden by these; whoever may nothing has none.
func TestClassesOfWhatMayBeDone(t *testing.T) {
	for role, want := range map[access.Role]string{
		access.Nobody:     `<body>`,
		access.Viewer:     `<body class="signed-in">`,
		access.Technician: `<body class="may-log signed-in">`,
		access.Owner:      `<body class="may-acknowledge may-log may-commission may-manage signed-in">`,
	} {
		if got := serve(t, Options{}, "/", access.Person{Name: "Ann", Role: role}); !strings.Contains(got, want) {
			t.Errorf("%q does not get %s", role, want)
		}
	}
}

func TestNamesAreEscaped(t *testing.T) {
	got := serve(t, Options{Site: `<b>"&`, Notice: `<i>`}, "/", access.Person{Name: `<u>`})
	for _, raw := range []string{"<b>", "<i>", "<u>"} {
		if strings.Contains(got, raw) {
			t.Errorf("the page has %s", raw)
		}
	}
}

func TestTwoFilesOfOneName(t *testing.T) {
	if _, err := New(Options{Files: nil}); err != nil {
		t.Error(err)
	}
	if _, err := New(Options{Files: append(Options{}.Files, fstest.MapFS{"assets/page.css": {}})}); err == nil {
		t.Error("two style sheets of one name were taken")
	}
}
