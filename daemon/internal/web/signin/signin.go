// Package signin serves the pages on which people sign in and out, the first owner is made,
// passwords are changed, and the owner says who may do what.
package signin

import (
	"embed"
	"errors"
	"io/fs"
	"log/slog"
	"net/http"
	"net/url"
	"strconv"
	"strings"

	"fluewright/daemon/internal/access"
	"fluewright/daemon/internal/web/layout"
)

//go:embed *.html
var pages embed.FS

//go:embed assets
var assets embed.FS

// Assets are the style sheet and the script of these pages.
var Assets fs.FS = assets

// Options is what the pages need.
type Options struct {
	Shell    *layout.Shell
	Accounts *access.Accounts
	Log      *slog.Logger
}

// Pages are the pages.
type Pages struct {
	o                               Options
	signIn, setUp, account, persons *layout.Template
}

// New returns the pages.
func New(o Options) *Pages {
	return &Pages{
		o:       o,
		signIn:  o.Shell.Parse(pages, "sign-in.html", "parts.html"),
		setUp:   o.Shell.Parse(pages, "setup.html", "parts.html"),
		account: o.Shell.Parse(pages, "account.html", "parts.html"),
		persons: o.Shell.Parse(pages, "people.html", "parts.html"),
	}
}

// Routes are their addresses.
func (p *Pages) Routes() []access.Route {
	route := func(pattern string, needs access.Right, serve http.HandlerFunc) access.Route {
		return access.Route{Pattern: pattern, Needs: needs, Handler: serve}
	}
	return []access.Route{
		route("GET "+access.SignInPath, access.Open, p.showSignIn),
		route("POST "+access.SignInPath, access.Open, p.doSignIn),
		route("POST /sign-out", access.Self, p.doSignOut),
		route("GET "+access.SetUpPath, access.Open, p.showSetUp),
		route("POST "+access.SetUpPath, access.Open, p.doSetUp),
		route("GET /account", access.Self, p.showAccount),
		route("POST /account/password", access.Self, p.doPassword),
		route("POST /account/sign-out-everywhere", access.Self, p.doSignOutEverywhere),
		route("GET /people", access.Manage, p.showPeople),
		route("POST /people/add", access.Manage, p.doAdd),
		route("POST /people/role", access.Manage, p.doRole),
		route("POST /people/password", access.Manage, p.doOthersPassword),
		route("POST /people/remove", access.Manage, p.doRemove),
	}
}

// view is what the templates take.
type view struct {
	// Wrong is what was refused, as a sentence; Done what was done.
	Wrong, Done string
	// Bare is set where what is typed crosses a network in the clear.
	Bare bool
	// Name is what was typed.
	Name string

	Next   string // sign in: where to go on
	Role   access.Role
	People []row
	Roles  []role
}

// row is a person in the owner's list.
type row struct {
	access.Account
	What string
	Own  bool // the owner's own
}

// role is one that can be chosen.
type role struct {
	access.Role
	May string
}

// roles say what each may, in the order in which they are offered.
var roles = []role{
	{access.Owner, "everything, and says who may do what"},
	{access.Installer, "takes alarms, writes notes, sets up and proves the installation"},
	{access.Technician, "reads and writes notes, but takes no alarm from whoever stands at the furnace"},
	{access.Viewer, "reads"},
}

func may(r access.Role) string {
	for _, one := range roles {
		if one.Role == r {
			return one.May
		}
	}
	return ""
}

// serve shows a page.
func (p *Pages) serve(w http.ResponseWriter, r *http.Request, t *layout.Template, title string, code int, v view) {
	v.Bare = r.TLS == nil && !access.From(r).IsLoopback()
	v.Roles = roles
	t.Serve(w, r, code, layout.Page{Title: title, Styles: []string{"signin.css"}, Scripts: []string{"signin.js"}, Data: v})
}

// refused makes a sentence and a code of why something was not done.
func (p *Pages) refused(w http.ResponseWriter, r *http.Request, err error) (code int, words string) {
	var wait *access.WaitError
	var refusal access.Refusal
	switch {
	case errors.As(err, &wait):
		w.Header().Set("Retry-After", strconv.Itoa(wait.Seconds()))
		code = http.StatusTooManyRequests
	case errors.Is(err, access.ErrWrong):
		code = http.StatusForbidden
	case errors.Is(err, access.ErrBusy):
		w.Header().Set("Retry-After", "5")
		code = http.StatusServiceUnavailable
	case errors.As(err, &refusal):
		code = http.StatusUnprocessableEntity
	case r.Context().Err() != nil:
		return http.StatusServiceUnavailable, "It took too long; try again."
	default:
		p.o.Log.Error("cannot work with the accounts", "error", err)
		return http.StatusInternalServerError, "The monitor cannot read or write its accounts. The log on the board says why."
	}
	return code, sentence(err.Error())
}

// sentence makes one of an error's words.
func sentence(s string) string {
	if s == "" {
		return ""
	}
	return strings.ToUpper(s[:1]) + s[1:] + "."
}

// back answers a form that was taken: loading again does nothing again.
func back(w http.ResponseWriter, r *http.Request, to, done string) {
	if done != "" {
		to += "?done=" + url.QueryEscape(done)
	}
	w.Header().Set("Cache-Control", "no-store")
	http.Redirect(w, r, to, http.StatusSeeOther)
}

// said are the words for what was done.
var said = map[string]string{
	"password": "The password is changed. Everywhere else you are signed out.",
	"added":    "The account is made.",
	"role":     "The role is changed.",
	"reset":    "The password is changed, and that person is signed out everywhere.",
	"removed":  "The account is removed.",
}

func done(r *http.Request) string { return said[r.URL.Query().Get("done")] }
