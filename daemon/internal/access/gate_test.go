package access

import (
	"encoding/json"
	"io"
	"net/http"
	"net/http/httptest"
	"net/url"
	"strings"
	"testing"
)

// asked asks a route that answers with whoever asks.
func asked(g *Gate, needs Right, change func(*http.Request)) *httptest.ResponseRecorder {
	h := g.Handler(Route{Pattern: "GET /x", Needs: needs, Handler: http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		p := Of(r.Context())
		_, _ = io.WriteString(w, "let in "+p.Name+" "+string(p.Role))
	})})
	r := httptest.NewRequest("GET", "/x?y=1", nil)
	r.RemoteAddr = "192.168.7.31:4711"
	if change != nil {
		change(r)
	}
	w := httptest.NewRecorder()
	h.ServeHTTP(w, r)
	return w
}

func let(w *httptest.ResponseRecorder) bool { return strings.HasPrefix(w.Body.String(), "let in") }

// TestWhoMayDoWhat writes the whole table out a second time.
func TestWhoMayDoWhat(t *testing.T) {
	want := map[Right]string{
		Closed: "", Open: "nobody viewer technician installer owner",
		Self: "viewer technician installer owner", Read: "viewer technician installer owner",
		Log: "technician installer owner", Acknowledge: "installer owner", Commission: "installer owner", Manage: "owner",
	}
	a, _ := furnished(t)
	cookies := map[string]string{"nobody": "", "owner": signIn(t, a, "Anna", good)}
	for _, role := range []Role{Viewer, Technician, Installer} {
		if err := a.Add(t.Context(), "the "+string(role), role, good); err != nil {
			t.Fatal(err)
		}
		cookies[string(role)] = signIn(t, a, "the "+string(role), good)
	}
	for right, roles := range want {
		for role, id := range cookies {
			w := asked(&Gate{Accounts: a}, right, func(r *http.Request) {
				if id != "" {
					r.AddCookie(&http.Cookie{Name: "fluewright", Value: id})
				}
			})
			may := strings.Contains(" "+roles+" ", " "+role+" ")
			if let(w) != may {
				t.Errorf("right %d, %s: %d %s", right, role, w.Code, w.Body)
			}
			if !may && (w.Code < 300 || right != Closed && role != "nobody" && w.Code != http.StatusForbidden) {
				t.Errorf("right %d, %s: refused by %d", right, role, w.Code)
			}
		}
	}
	if w := asked(nil, Read, nil); let(w) {
		t.Error("without a gate all is open")
	}
	if w := asked(&Gate{Accounts: a}, 200, func(r *http.Request) {
		r.AddCookie(&http.Cookie{Name: "fluewright", Value: cookies["owner"]})
	}); let(w) {
		t.Error("a right that nobody has is an owner's")
	}
}

func TestReadingWithoutSigningIn(t *testing.T) {
	header := func(name, value string) func(*http.Request) {
		return func(r *http.Request) { r.RemoteAddr = "127.0.0.1:4711"; r.Header.Set(name, value) }
	}
	from := func(address string) func(*http.Request) { return func(r *http.Request) { r.RemoteAddr = address } }
	for _, tt := range []struct {
		name              string
		change            func(*http.Request)
		computer, network bool
	}{
		{"the board itself", from("127.0.0.1:4711"), true, true},
		{"the board itself, IPv6", from("[::1]:4711"), true, true},
		{"the board itself, IPv4 in IPv6", from("[::ffff:127.0.0.1]:4711"), true, true},
		{"a telephone", nil, false, true},
		{"a telephone that claims to be the board", func(r *http.Request) { r.Header.Set("X-Forwarded-For", "127.0.0.1") }, false, true},
		{"a proxy on the board", header("X-Forwarded-For", "192.168.7.31"), false, true},
		{"a proxy that says nothing in it", header("X-Forwarded-Proto", ""), false, true},
		{"a proxy by the standard", header("Forwarded", "for=192.168.7.31"), false, true},
		{"a proxy that says no more than that", header("Via", "1.1 proxy"), false, true},
		{"no address", from("@"), false, true},
		{"a wrong token", header("Authorization", "Bearer wrong"), false, false},
		{"another way to sign in", header("Authorization", "Basic YTpi"), false, false},
	} {
		t.Run(tt.name, func(t *testing.T) {
			a := Load("")
			for reading, want := range map[Reading]bool{NobodyReads: false, ThisComputerReads: tt.computer, NetworkReads: tt.network} {
				if w := asked(&Gate{a, reading}, Read, tt.change); let(w) != want {
					t.Errorf("%d: %d %s", reading, w.Code, w.Body)
				}
				for _, more := range []Right{Log, Acknowledge, Commission, Manage, Self} {
					if w := asked(&Gate{a, reading}, more, tt.change); let(w) {
						t.Errorf("%d: whoever may read has right %d too", reading, more)
					}
				}
			}
		})
	}
}

func TestPrograms(t *testing.T) {
	a, dir := furnished(t)
	token, err := a.AddToken("prometheus", Technician)
	if err != nil {
		t.Fatal(err)
	}
	owner := signIn(t, a, "Anna", good)
	show := func(text string) func(*http.Request) {
		return func(r *http.Request) { r.Header.Set("Authorization", text) }
	}
	g := &Gate{Accounts: a}
	for text, want := range map[string]bool{
		"Bearer " + token: true, "bearer " + token: true, "Bearer  " + token + " ": true,
		"Bearer": false, "Bearer ": false, token: false, "Basic " + token: false, "Bearer " + token + "x": false,
		"Bearer " + owner: false, "Bearer " + recognise(token): false,
	} {
		if w := asked(g, Log, show(text)); let(w) != want {
			t.Errorf("%q: %d %s", text, w.Code, w.Body)
		}
	}
	for _, right := range []Right{Self, Acknowledge, Manage} {
		if w := asked(g, right, show("Bearer "+token)); w.Code != http.StatusForbidden {
			t.Errorf("right %d: %d", right, w.Code)
		}
	}
	// A wrong token beside an owner's cookie is a wrong token.
	w := asked(g, Read, func(r *http.Request) {
		r.AddCookie(&http.Cookie{Name: "fluewright", Value: owner})
		r.Header.Set("Authorization", "Bearer wrong")
	})
	if w.Code != http.StatusUnauthorized || w.Header().Get("WWW-Authenticate") == "" {
		t.Errorf("%d %v", w.Code, w.Header())
	}
	// Revoked on the board, it holds no more.
	if err := Load(dir).RemoveToken("prometheus"); err != nil {
		t.Fatal(err)
	}
	if w := asked(g, Read, show("Bearer "+token)); w.Code != http.StatusUnauthorized {
		t.Errorf("after its end: %d", w.Code)
	}
}

// TestWhoHasNotSignedIn: a person is led to the page for it and back, a program is told.
func TestWhoHasNotSignedIn(t *testing.T) {
	html := func(r *http.Request) { r.Header.Set("Accept", "text/html,*/*;q=0.8") }
	g := &Gate{Accounts: Load("")}
	for _, tt := range []struct {
		name   string
		change func(*http.Request)
		next   string // empty: a problem
	}{
		{"a browser", html, "/x?y=1"},
		{"a script", nil, ""},
		{"a browser at the interface", func(r *http.Request) { html(r); r.URL.Path = "/api/v1/x" }, ""},
		{"a form", func(r *http.Request) {
			html(r)
			r.Method = "POST"
			r.Header.Set("Referer", "http://example.com/notes?page=2#end")
		}, "/notes?page=2"},
		{"a form from elsewhere", func(r *http.Request) {
			html(r)
			r.Method = "POST"
			r.Header.Set("Referer", "http://evil.example/notes")
		}, "/"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			w := asked(g, Log, tt.change)
			if tt.next == "" {
				var p struct {
					Title, Detail string
					Status        int
				}
				err := json.Unmarshal(w.Body.Bytes(), &p)
				if err != nil || w.Code != 401 || p.Status != 401 || p.Title == "" || p.Detail == "" || w.Header().Get("Content-Type") != "application/problem+json" {
					t.Errorf("%d %v %s", w.Code, w.Header(), w.Body)
				}
				return
			}
			if want := "/sign-in?next=" + url.QueryEscape(tt.next); w.Code != http.StatusSeeOther || w.Header().Get("Location") != want {
				t.Errorf("%d to %q, want %q", w.Code, w.Header().Get("Location"), want)
			}
		})
	}
}

func TestLocal(t *testing.T) {
	for next, want := range map[string]string{
		"/": "/", "/burns": "/burns", "/trend?from=1&to=2": "/trend?from=1&to=2", "/a%2Fb": "/a%2Fb", "/notes#new": "/notes",
		"": "/", "burns": "/", "//evil.example": "/", "///evil.example": "/", `/\evil.example`: "/", `\\evil.example`: "/",
		"https://evil.example/": "/", "javascript:alert(1)": "/", "/\t/evil.example": "/", "/x\r\nSet-Cookie: a=b": "/",
		"/x\x00": "/", "/ü": "/", "/%": "/", "/sign-in?next=/": "/", "/sign-out": "/", "/setup": "/",
		"/.//evil.example": "/.//evil.example", "/%0d%0aSet-Cookie:x": "/%0d%0aSet-Cookie:x",
		"/" + strings.Repeat("a", 2000): "/",
	} {
		if got := Local(next); got != want {
			t.Errorf("%q leads to %q, want %q", next, got, want)
		}
	}
}

// FuzzLocal: wherever somebody wants to send a browser, it stays here.
func FuzzLocal(f *testing.F) {
	for _, s := range []string{"/burns?x=1", "//evil.example", `/\evil.example`, "/\r\nx", "/.//x", "/%2f/x", "/;@evil.example"} {
		f.Add(s)
	}
	base, _ := url.Parse("http://furnace.local:8080/sign-in")
	f.Fuzz(func(t *testing.T, next string) {
		got := Local(next)
		u, err := base.Parse(got)
		if err != nil || u.Host != base.Host || u.Scheme != "http" || u.User != nil {
			t.Errorf("%q leads to %q", next, got)
		}
		if strings.ContainsFunc(got, func(r rune) bool { return r <= ' ' || r > '~' || r == '\\' }) || len(got) > 1 && (got[1] == '/' || got[1] == '\\') {
			t.Errorf("%q leads to %q", next, got)
		}
		if Local(got) != got {
			t.Errorf("%q leads to %q and then to %q", next, got, Local(got))
		}
	})
}

// TestTheCookie: no script reads it, no page elsewhere has it sent, and with TLS it is bound
// to the host.
func TestTheCookie(t *testing.T) {
	for scheme, want := range map[string]string{
		"http":  "fluewright=id; Path=/; Max-Age=2592000; HttpOnly; SameSite=Strict",
		"https": "__Host-fluewright=id; Path=/; Max-Age=2592000; HttpOnly; Secure; SameSite=Strict",
	} {
		w := httptest.NewRecorder()
		r := httptest.NewRequest("POST", scheme+"://furnace.local/sign-in", nil)
		Begin(w, r, "id")
		if got := w.Header().Get("Set-Cookie"); got != want {
			t.Errorf("%s: %s", scheme, got)
		}
	}
	r := httptest.NewRequest("GET", "https://furnace.local/", nil)
	r.Header.Set("Cookie", "fluewright=planted")
	if SessionID(r) != "" {
		t.Error("with TLS a cookie counts that any host nearby can plant")
	}
	r = httptest.NewRequest("GET", "http://furnace.local/", nil)
	r.Header.Set("Cookie", "fluewright=mine; fluewright=planted")
	if SessionID(r) != "" {
		t.Error("one of two cookies is believed")
	}
}

// TestAStreamEnds when whoever reads it may not any more.
func TestAStreamEnds(t *testing.T) {
	a, dir := furnished(t)
	if err := a.Add(t.Context(), "Ben", Viewer, good); err != nil {
		t.Fatal(err)
	}
	g := &Gate{Accounts: a}
	stream := func(name string) (ended chan struct{}) {
		id := signIn(t, a, name, good)
		begun, ended := make(chan struct{}), make(chan struct{})
		h := g.Handler(Route{Needs: Read, Handler: http.HandlerFunc(func(_ http.ResponseWriter, r *http.Request) {
			close(begun)
			<-r.Context().Done()
			close(ended)
		})})
		r := httptest.NewRequest("GET", "/events", nil).WithContext(t.Context())
		r.AddCookie(&http.Cookie{Name: "fluewright", Value: id})
		go h.ServeHTTP(httptest.NewRecorder(), r)
		<-begun
		return ended
	}
	annas, bens, bensToo := stream("Anna"), stream("Ben"), stream("Ben")
	if err := a.SetPassword(t.Context(), "Ben", other); err != nil {
		t.Fatal(err)
	}
	<-bens
	<-bensToo
	select {
	case <-annas:
		t.Error("somebody else's stream ended too")
	default:
	}
	if err := Load(dir).SetPassword(t.Context(), "Anna", other); err != nil { // beside the daemon
		t.Fatal(err)
	}
	a.watched.look()
	<-annas
}
