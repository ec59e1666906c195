package api

import (
	_ "embed"
	"net/http"
	"strings"

	"fluewright/daemon/internal/access"
)

// document describes the interface. It is written by hand; the tests hold it against the
// routes and against what they answer.
//
//go:embed openapi.json
var document []byte

func (a *API) openapi(w http.ResponseWriter, r *http.Request) {
	if !a.plain(w, r) {
		return
	}
	w.Header().Set("Content-Type", "application/json")
	_, _ = w.Write(document) // whoever asked may have gone
}

// methods are those that can be asked with at all.
var methods = []string{http.MethodGet, http.MethodPost, http.MethodPut, http.MethodPatch, http.MethodDelete}

// elsewhere answers what is asked of no address of ours, or in a way that it does not take.
func elsewhere(routes []access.Route) http.Handler {
	takes := map[string][]string{}
	for _, r := range routes {
		method, path, _ := strings.Cut(r.Pattern, " ")
		if method == http.MethodGet {
			method = "GET, HEAD"
		}
		takes[path] = append(takes[path], method)
	}
	mux := http.NewServeMux()
	for path, methods := range takes {
		allow := strings.Join(methods, ", ")
		mux.HandleFunc(path, func(w http.ResponseWriter, _ *http.Request) {
			w.Header().Set("Allow", allow)
			Refuse(w, http.StatusMethodNotAllowed, "This address takes "+allow+" only.")
		})
	}
	mux.HandleFunc("/", func(w http.ResponseWriter, _ *http.Request) {
		Refuse(w, http.StatusNotFound, "There is nothing at this address: "+prefix+"openapi.json describes those that there are.")
	})
	return mux
}
