package access

import (
	"encoding/json"
	"net/http"
	"net/netip"
	"net/url"
	"slices"
	"strings"
	"time"
)

// Reading says who may read without signing in.
type Reading uint8

// Who may. The zero Reading lets nobody.
const (
	NobodyReads Reading = iota
	ThisComputerReads
	NetworkReads
)

// SignInPath and SetUpPath are where whoever has not signed in is sent.
const (
	SignInPath = "/sign-in"
	SetUpPath  = "/setup"
)

// Gate lets requests through to whoever may make them.
type Gate struct {
	Accounts *Accounts
	Reading  Reading
}

// Handler returns the route's handler behind the gate. A nil gate lets nobody through but to
// what is open.
func (g *Gate) Handler(route Route) http.Handler {
	if route.Needs == Closed {
		return http.NotFoundHandler()
	}
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if g == nil {
			if route.Needs == Open {
				route.Handler.ServeHTTP(w, r)
				return
			}
			refuse(w, r, http.StatusForbidden, "Nobody may do this here.")
			return
		}
		if route.Needs != Open {
			w.Header().Add("Vary", "Cookie, Authorization")
		}
		who, sent := g.who(r)
		switch {
		case sent && who.Name == "" && r.Method != http.MethodGet:
			g.signIn(w, r, sent) // even where it is open: it has passed the guard for its token
			return
		case route.Needs == Open || who.May(route.Needs):
		case route.Needs == Read && !sent && g.readsFreely(r):
		case who.Name != "":
			refuse(w, r, http.StatusForbidden, "Your role here, "+string(who.Role)+", may not do this. The owner can give you another one.")
			return
		default:
			g.signIn(w, r, sent)
			return
		}
		ctx := With(r.Context(), who)
		if who.Name != "" && r.Method == http.MethodGet { // what sends something is over soon
			ours := r
			var done func()
			ctx, done = g.Accounts.watched.add(ctx, func() bool {
				now, _ := g.who(ours)
				return now.Name == who.Name && (route.Needs == Open || now.May(route.Needs))
			})
			defer done()
		}
		route.Handler.ServeHTTP(w, r.WithContext(ctx))
	})
}

// who is whoever makes a request. sent reports that it brought a token, right or wrong: then
// nothing else counts.
func (g *Gate) who(r *http.Request) (p Person, sent bool) {
	if values := r.Header.Values("Authorization"); len(values) > 0 {
		text, ok := bearer(values)
		if !ok {
			return Person{}, true
		}
		return g.Accounts.Token(text), true
	}
	return g.Accounts.Session(SessionID(r)), false
}

// bearer reads the header by RFC 6750.
func bearer(values []string) (text string, ok bool) {
	if len(values) != 1 {
		return "", false
	}
	scheme, text, found := strings.Cut(values[0], " ")
	text = strings.TrimSpace(text)
	return text, found && strings.EqualFold(scheme, "Bearer") && text != ""
}

// HasToken reports whether a request shows a token, right or wrong: no browser does by itself,
// so no page elsewhere can make it.
func HasToken(r *http.Request) bool {
	_, ok := bearer(r.Header.Values("Authorization"))
	return ok
}

// readsFreely reports whether the request may read without anybody signing in.
func (g *Gate) readsFreely(r *http.Request) bool {
	switch g.Reading {
	case NetworkReads:
		return true
	case ThisComputerReads:
		return From(r).IsLoopback() && !forwarded(r)
	default:
		return false
	}
}

// forwarded reports whether a proxy on this computer carries the request for somebody else.
func forwarded(r *http.Request) bool {
	for name := range r.Header {
		switch {
		case strings.HasPrefix(name, "X-Forwarded-"), slices.Contains([]string{"Forwarded", "Via", "X-Real-Ip", "X-Client-Ip"}, name):
			return true
		}
	}
	return false
}

// From is the address that a request comes from. What headers say of it is not believed.
func From(r *http.Request) netip.Addr {
	a, err := netip.ParseAddrPort(r.RemoteAddr)
	if err != nil {
		return netip.Addr{}
	}
	return a.Addr().Unmap()
}

// signIn sends a person to the page for it, and tells a program.
func (g *Gate) signIn(w http.ResponseWriter, r *http.Request, sent bool) {
	if sent || !forPerson(r) {
		w.Header().Set("WWW-Authenticate", `Bearer realm="fluewright"`)
		detail := "Sign in, or send a token: Authorization: Bearer …"
		if sent {
			detail = "This token is not one of this monitor's."
		}
		refuse(w, r, http.StatusUnauthorized, detail)
		return
	}
	to := r.URL.RequestURI()
	if r.Method != http.MethodGet && r.Method != http.MethodHead {
		// What was sent is lost; the page it came from is not.
		to = "/"
		if from, err := url.Parse(r.Referer()); err == nil && from.Host == r.Host {
			to = from.RequestURI()
		}
	}
	w.Header().Set("Cache-Control", "no-store")
	http.Redirect(w, r, SignInPath+"?next="+url.QueryEscape(Local(to)), http.StatusSeeOther)
}

// forPerson reports whether the answer is shown to a person.
func forPerson(r *http.Request) bool {
	return strings.Contains(r.Header.Get("Accept"), "text/html") && !strings.HasPrefix(r.URL.Path, "/api/")
}

// refuse says why not, to a program by RFC 9457.
func refuse(w http.ResponseWriter, r *http.Request, code int, detail string) {
	w.Header().Set("Cache-Control", "no-store")
	if forPerson(r) {
		http.Error(w, detail, code)
		return
	}
	Problem(w, code, detail)
}

// Problem answers with a problem by RFC 9457.
func Problem(w http.ResponseWriter, code int, detail string) {
	w.Header().Set("Content-Type", "application/problem+json")
	w.Header().Set("X-Content-Type-Options", "nosniff")
	w.WriteHeader(code)
	_ = json.NewEncoder(w).Encode(struct {
		Type   string `json:"type"`
		Title  string `json:"title"`
		Status int    `json:"status"`
		Detail string `json:"detail"`
	}{"about:blank", http.StatusText(code), code, detail}) // whoever asked may have gone
}

// longestNext is more than any address of ours has.
const longestNext = 1024

// Local returns an address on these pages as it may be sent to a browser to go on to, or "/"
// for one that leads elsewhere, or to a page where nobody wants to go on to.
func Local(next string) string {
	if len(next) > longestNext || !strings.HasPrefix(next, "/") || strings.ContainsFunc(next, func(c rune) bool {
		return c <= ' ' || c == '\\' || c >= 0x7f
	}) {
		return "/"
	}
	u, err := url.Parse(next)
	if err != nil || u.Scheme != "" || u.Host != "" || u.User != nil || u.Opaque != "" || strings.HasPrefix(next, "//") {
		return "/"
	}
	// As a browser would see it.
	clean := (&url.URL{Path: u.Path, RawPath: u.RawPath, RawQuery: u.RawQuery}).String()
	for _, out := range []string{SignInPath, SetUpPath, "/sign-out"} {
		if u.Path == out {
			return "/"
		}
	}
	if !strings.HasPrefix(clean, "/") || strings.HasPrefix(clean, "//") {
		return "/"
	}
	return clean
}

// cookieName is the cookie of a session. With TLS a browser binds it to this host; without,
// browsers take no name with that prefix.
func cookieName(r *http.Request) string {
	if r.TLS != nil {
		return "__Host-fluewright"
	}
	return "fluewright"
}

// SessionID is the id that a browser sends, empty if it sends none, or more than one: one of
// them is somebody else's.
func SessionID(r *http.Request) string {
	if c := r.CookiesNamed(cookieName(r)); len(c) == 1 {
		return c[0].Value
	}
	return ""
}

// Begin lets the browser keep a session.
func Begin(w http.ResponseWriter, r *http.Request, id string) {
	cookie(w, r, id, int(sessionLife/time.Second))
}

// End lets the browser forget its session.
func End(w http.ResponseWriter, r *http.Request) { cookie(w, r, "", -1) }

func cookie(w http.ResponseWriter, r *http.Request, value string, age int) {
	http.SetCookie(w, &http.Cookie{
		Name: cookieName(r), Value: value, Path: "/", MaxAge: age,
		HttpOnly: true, Secure: r.TLS != nil, SameSite: http.SameSiteStrictMode,
	})
}
