package records_test

import (
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"fluewright/analysis/notice"
	"fluewright/daemon/internal/access"
	"fluewright/daemon/internal/status/statustest"
	"fluewright/daemon/internal/web/browsertest"
)

// The pages of a season at a site where things go wrong, as an owner sees them.
func TestHowTheyLook(t *testing.T) {
	b := browsertest.Start(t)
	k, o := season(t)
	k.Note("Bo with a name that is as long as names can be in these accounts", "sweeping: "+strings.Repeat("soot and ", 30))
	k.Settle()
	o.Feed.Publish(statustest.After(storm(), 20*24*time.Hour))
	o.StaleAfter = time.Hour
	o.Actions = &taker{}
	o.Upkeep = func() (u notice.Upkeep, ok bool) {
		u.Burnt[notice.Ash], u.Burnt[notice.Flue], u.Tar = 170, 300, 5
		return u, true
	}
	full := httptest.NewServer(quiet(served(t, o, access.Owner)))
	defer full.Close()
	empty := httptest.NewServer(quiet(served(t, options(nil), access.Viewer)))
	defer empty.Close()
	// The other schemes are looked at with the built program.
	for _, look := range []browsertest.Look{{Width: 390, Dark: true}, {Width: 1280}, {Width: 1280, Print: true}} {
		for _, path := range []string{"/burns", "/burns?before=20", "/burns/42", "/alarms", "/notes", "/upkeep"} {
			name := strings.NewReplacer("/", "-", "?", "-", "=", "-").Replace("records" + path)
			t.Run(name+"-"+look.String(), func(t *testing.T) {
				tab := b.Tab(t, look)
				tab.Open(full.URL + path)
				tab.Check(name)
			})
			if look.Width == 390 {
				t.Run(name+"-empty-"+look.String(), func(t *testing.T) {
					tab := b.Tab(t, look)
					tab.Open(empty.URL + path)
					for _, said := range tab.Said() {
						// There is no such burn, and the browser says so too.
						if path != "/burns/42" || !strings.Contains(said, "404 (Not Found)") {
							t.Error(said)
						}
					}
					tab.Check(name + "-empty")
				})
			}
		}
	}
}

// quiet answers for what other packages serve.
func quiet(h http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if strings.HasPrefix(r.URL.Path, "/trend/") {
			w.Header().Set("Content-Type", "image/svg+xml")
			_, _ = w.Write([]byte(`<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 970 400"><rect width="970" height="400" fill="#888"/></svg>`))
			return
		}
		h.ServeHTTP(w, r)
	})
}
