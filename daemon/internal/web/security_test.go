package web

import (
	"bytes"
	"context"
	"errors"
	"io"
	"log/slog"
	"net"
	"net/http"
	"net/http/httptest"
	"net/url"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"fluewright/daemon/internal/access"
	"fluewright/daemon/internal/handout"
	"fluewright/daemon/internal/history"
	"fluewright/daemon/internal/status/statustest"
)

const password = "four plain cellar words"

// locked are pages that nobody reads without signing in, with an owner.
func locked(t *testing.T) (Options, *access.Accounts) {
	t.Helper()
	o := options()
	o.Feed.Publish(statustest.Burning())
	o.Gate = &access.Gate{Accounts: access.Load("")}
	if err := o.Gate.Accounts.Add(t.Context(), "Anna", access.Owner, password); err != nil {
		t.Fatal(err)
	}
	return o, o.Gate.Accounts
}

const own = "http://localhost:8080"

// send asks for a path with a form, as our own page has a browser do unless change says
// otherwise.
func send(h http.Handler, method, path, form string, change func(*http.Request)) *httptest.ResponseRecorder {
	r := httptest.NewRequest(method, own+path, strings.NewReader(form))
	r.Header.Set("Accept", "text/html")
	if form != "" {
		r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	}
	if method != "GET" {
		r.Header.Set("Origin", own)
	}
	if change != nil {
		change(r)
	}
	w := httptest.NewRecorder()
	h.ServeHTTP(w, r)
	return w
}

func cookie(id string) func(*http.Request) {
	return func(r *http.Request) { r.AddCookie(&http.Cookie{Name: "fluewright", Value: id}) }
}

// given is the session that an answer begins.
func given(w *httptest.ResponseRecorder) string {
	for _, c := range w.Result().Cookies() {
		if c.Name == "fluewright" {
			return c.Value
		}
	}
	return ""
}

func form(pairs ...string) string {
	v := url.Values{}
	for i := 0; i < len(pairs); i += 2 {
		v.Set(pairs[i], pairs[i+1])
	}
	return v.Encode()
}

// TestOpenAddresses: what is open is listed here; of everything else nobody sees anything
// who has not signed in.
func TestOpenAddresses(t *testing.T) {
	open := []string{
		"GET /healthz", "GET /static/{name}", "GET /sign-in", "POST /sign-in", "GET /setup", "POST /setup",
	}
	o, _ := locked(t)
	_, all, err := routes(o)
	if err != nil {
		t.Fatal(err)
	}
	h := handler(o, all)
	for _, r := range all {
		method, path, _ := strings.Cut(r.Pattern, " ")
		path = regexp.MustCompile(`\{[^}]*\}`).ReplaceAllStringFunc(path, func(s string) string {
			if s == "{$}" {
				return ""
			}
			return "1"
		})
		if isOpen := slices.Contains(open, r.Pattern); isOpen != (r.Needs == access.Open) {
			t.Errorf("%s is open: %v", r.Pattern, r.Needs == access.Open)
		}
		if r.Needs == access.Open {
			continue
		}
		if w := send(h, method, path, "", nil); w.Code != http.StatusSeeOther && w.Code != http.StatusUnauthorized {
			t.Errorf("%s of nobody answers %d", r.Pattern, w.Code)
		}
		if w := send(h, method, path, "", func(r *http.Request) { r.Header.Del("Accept") }); w.Code != http.StatusUnauthorized {
			t.Errorf("%s of a nameless program answers %d", r.Pattern, w.Code)
		}
	}
	if w := send(h, "GET", "/healthz", "", nil); w.Code != http.StatusOK {
		t.Errorf("the health check answers %d", w.Code)
	}
}

// TestSessionFixation: the session that somebody planted before is not the one that whoever
// signs in gets, and it leads nowhere.
func TestSessionFixation(t *testing.T) {
	o, a := locked(t)
	if err := a.Add(t.Context(), "Mallory", access.Viewer, password); err != nil {
		t.Fatal(err)
	}
	h := served(o)
	mallorys := given(send(h, "POST", "/sign-in", form("name", "Mallory", "password", password), nil))
	if mallorys == "" {
		t.Fatal("cannot sign in")
	}
	for _, planted := range []string{"planted", mallorys} {
		w := send(h, "POST", "/sign-in", form("name", "Anna", "password", password), cookie(planted))
		id := given(w)
		if w.Code != http.StatusSeeOther || id == "" || id == planted {
			t.Fatalf("%d, session %q", w.Code, id)
		}
		if p := a.Session(planted); p.Name != "" {
			t.Errorf("what was planted is %v's", p.Name)
		}
		if w := send(h, "GET", "/people", "", cookie(id)); w.Code != http.StatusOK {
			t.Errorf("the new session: %d", w.Code)
		}
	}
	// Another password is another session too.
	before := given(send(h, "POST", "/sign-in", form("name", "Anna", "password", password), nil))
	w := send(h, "POST", "/account/password", form("old", password, "password", "another four of them"), cookie(before))
	if id := given(w); w.Code != http.StatusSeeOther || id == "" || id == before || a.Session(before).Name != "" {
		t.Errorf("after another password: %d, session %q", w.Code, id)
	}
}

// TestForgery: a form counts only if the browser says that one of our own pages sent it,
// whether or not it needs a session.
func TestForgery(t *testing.T) {
	o, a := locked(t)
	h := served(o)
	var id string
	for _, tt := range []struct {
		name   string
		header map[string]string
		ok     bool
	}{
		{"our own page", map[string]string{"Origin": own}, true},
		{"our own page, newer browser", map[string]string{"Origin": own, "Sec-Fetch-Site": "same-origin"}, true},
		{"elsewhere", map[string]string{"Origin": "http://evil.example"}, false},
		{"elsewhere on this computer", map[string]string{"Origin": "http://localhost:3000"}, false},
		{"the same, newer browser", map[string]string{"Origin": "http://localhost:3000", "Sec-Fetch-Site": "same-site"}, false},
		{"a name that begins like ours", map[string]string{"Origin": own + ".evil.example"}, false},
		{"a sandbox", map[string]string{"Origin": "null"}, false},
		{"nowhere", nil, false},
		{"nowhere, with our address as referrer", map[string]string{"Referer": own + "/people"}, false},
		{"elsewhere, with our address as referrer", map[string]string{"Origin": "http://evil.example", "Referer": own + "/people"}, false},
		{"elsewhere, newer browser that says no origin", map[string]string{"Sec-Fetch-Site": "cross-site"}, false},
		{"a made-up token", map[string]string{"Authorization": "Bearer x"}, false},
		{"elsewhere, with a made-up token", map[string]string{"Authorization": "Bearer x", "Origin": "http://evil.example"}, false},
	} {
		t.Run(tt.name, func(t *testing.T) {
			var err error
			if id, err = a.SignIn(t.Context(), access.From(httptest.NewRequest("GET", "/", nil)), "Anna", password); err != nil {
				t.Fatal(err)
			}
			as := func(r *http.Request) {
				cookie(id)(r)
				r.Header.Del("Origin")
				for k, v := range tt.header {
					r.Header.Set(k, v)
				}
			}
			before := len(a.List())
			w := send(h, "POST", "/people/add", form("new-name", "Mallory", "role", "owner", "password", password), as)
			if added := len(a.List()) > before; added != tt.ok {
				t.Errorf("%d: made %v", w.Code, added)
			}
			_ = a.Remove("Mallory")
			w = send(h, "POST", "/sign-in", form("name", "Anna", "password", password), as)
			if in := given(w) != ""; in != tt.ok {
				t.Errorf("signing in: %d", w.Code)
			}
		})
	}
	for _, method := range []string{"GET", "HEAD"} {
		if w := send(h, method, "/people/add?"+form("new-name", "Mallory", "role", "owner", "password", password), "", cookie(id)); w.Code == http.StatusSeeOther || len(a.List()) != 1 {
			t.Errorf("%s changes something: %d", method, w.Code)
		}
	}
}

// TestReadingFromElsewhere: a page elsewhere reads nothing with somebody's cookie, or because
// it runs on a computer that may read.
func TestReadingFromElsewhere(t *testing.T) {
	o, a := locked(t)
	o.Gate.Reading = access.ThisComputerReads
	h := served(o)
	id, err := a.SignIn(t.Context(), access.From(httptest.NewRequest("GET", "/", nil)), "Anna", password)
	if err != nil {
		t.Fatal(err)
	}
	ended, cancel := context.WithCancel(t.Context())
	cancel() // so that a stream ends at once
	for path, linked := range map[string]int{"/": 200, "/events": 200, "/metrics": 200, "/api/bundle": 403, "/people": 200} {
		for site, head := range map[string]string{"cross-site": "", "same-site": "", "same-origin": "ok", "none": "ok", "": "ok"} {
			ask := func(mode, dest string) int {
				r := httptest.NewRequest("GET", own+path, nil).WithContext(ended)
				cookie(id)(r)
				r.RemoteAddr = "127.0.0.1:4711"
				r.Header.Set("Sec-Fetch-Site", site)
				r.Header.Set("Sec-Fetch-Mode", mode)
				r.Header.Set("Sec-Fetch-Dest", dest)
				w := httptest.NewRecorder()
				h.ServeHTTP(w, r)
				return w.Code
			}
			for _, how := range [][2]string{{"cors", "empty"}, {"no-cors", "script"}, {"no-cors", "image"}, {"navigate", "iframe"}} {
				if code := ask(how[0], how[1]); (code == http.StatusForbidden) == (head == "ok") {
					t.Errorf("%s from %q by %v: %d", path, site, how, code)
				}
			}
			if code := ask("navigate", "document"); head != "ok" && code != linked {
				t.Errorf("a link to %s from %q: %d", path, site, code)
			}
		}
	}
	w := send(h, "GET", "/", "", nil)
	for _, header := range []string{"Access-Control-Allow-Origin", "Access-Control-Allow-Credentials"} {
		if w.Header().Get(header) != "" {
			t.Errorf("%s lets others read", header)
		}
	}
	if w.Header().Get("Cross-Origin-Resource-Policy") != "same-origin" {
		t.Error("a page elsewhere may embed what is here")
	}
}

// TestRebinding: a page elsewhere whose name leads here gets nothing, signed in or not.
func TestRebinding(t *testing.T) {
	o, a := locked(t)
	o.Gate.Reading = access.NetworkReads
	h := served(o)
	id, err := a.SignIn(t.Context(), access.From(httptest.NewRequest("GET", "/", nil)), "Anna", password)
	if err != nil {
		t.Fatal(err)
	}
	for _, path := range []string{"/", "/sign-in", "/healthz", "/metrics", "/people"} {
		w := send(h, "GET", path, "", func(r *http.Request) { r.Host = "evil.example:8080"; cookie(id)(r) })
		if w.Code != http.StatusMisdirectedRequest {
			t.Errorf("GET %s: %d", path, w.Code)
		}
	}
	w := send(h, "POST", "/sign-in", form("name", "Anna", "password", password), func(r *http.Request) {
		r.Host = "evil.example:8080"
		r.Header.Set("Origin", "http://evil.example:8080")
		r.Header.Set("Sec-Fetch-Site", "same-origin")
	})
	if w.Code != http.StatusMisdirectedRequest || given(w) != "" {
		t.Errorf("signing in: %d", w.Code)
	}
}

// TestTraversal: no path leads out of what is served, past the gate, or to another host.
func TestTraversal(t *testing.T) {
	o, _ := locked(t)
	s := running(t, o)
	for _, path := range []string{
		"/static/../people", "/static/..%2fpeople", "/static/%2e%2e/people", "/static/....//people", "/static/%2e%2e%2f%2e%2e%2fetc/passwd",
		"//people", "/./people", "/people/", "/people/../people", "/PEOPLE", "/static/page.css/../../people", "/static/page.css%00.html",
		"/static//etc/passwd", "/static/\\..\\page.html", "//evil.example/..", "/%2f%2fevil.example", "/sign-in/../account",
	} {
		// By hand: a client would tidy the path up.
		answer := raw(t, s, "GET "+path+" HTTP/1.1\r\nHost: "+s.Addr()+"\r\nAccept: text/html\r\nConnection: close\r\n\r\n")
		head, body, _ := strings.Cut(answer, "\r\n\r\n")
		if strings.Contains(body, "Who can sign in") || strings.Contains(body, "root:") {
			t.Errorf("%s is answered with %q", path, body)
		}
		code := strings.Fields(head)[1]
		if code == "200" {
			t.Errorf("%s answers %s", path, code)
		}
		if m := regexp.MustCompile(`(?mi)^Location: (.*)\r?$`).FindStringSubmatch(head); m != nil && (!strings.HasPrefix(m[1], "/") || strings.HasPrefix(m[1], "//")) {
			t.Errorf("%s leads to %s", path, m[1])
		}
	}
}

// TestHeaderInjection: neither a name nor where to go on to gets into the answer's head.
func TestHeaderInjection(t *testing.T) {
	o, _ := locked(t)
	s := running(t, o)
	evil := "/\r\nSet-Cookie: planted=1\r\nX: "
	for _, next := range []string{evil, "//evil.example" + evil, "/%0d%0aSet-Cookie:%20planted=1", "/x\nSet-Cookie: planted=1", "\u010d\u010aSet-Cookie: planted=1"} {
		body := form("name", "Anna", "password", password, "next", next)
		answer := raw(t, s, "POST /sign-in HTTP/1.1\r\nHost: "+s.Addr()+"\r\nOrigin: http://"+s.Addr()+
			"\r\nContent-Type: application/x-www-form-urlencoded\r\nConnection: close\r\nContent-Length: "+strconv.Itoa(len(body))+"\r\n\r\n"+body)
		head, _, _ := strings.Cut(answer, "\r\n\r\n")
		if regexp.MustCompile(`(?mi)^Set-Cookie: planted`).MatchString(head) || strings.Count(head, "\nSet-Cookie") != 1 {
			t.Errorf("next=%q: %s", next, head)
		}
		answer = raw(t, s, "GET /sign-in?"+form("next", next)+" HTTP/1.1\r\nHost: "+s.Addr()+"\r\nConnection: close\r\n\r\n")
		if strings.Contains(answer, "\nSet-Cookie: planted") || strings.Contains(answer, "evil.example") {
			t.Errorf("next=%q: %s", next, answer)
		}
	}

	// The configuration takes no such name; should one come all the same, it is no header.
	o.Site = "cellar\r\nSet-Cookie: planted=1\r\n\r\n<script>alert(1)</script>\"; x"
	desk := handout.New(t.TempDir(), &past{}, slog.New(slog.DiscardHandler))
	o.Bundles = desk
	o.Gate.Reading = access.NetworkReads
	s = running(t, o)
	for _, path := range []string{"/", "/sign-in", "/api/bundle?since=1h", "/metrics"} {
		answer := raw(t, s, "GET "+path+" HTTP/1.1\r\nHost: "+s.Addr()+"\r\nConnection: close\r\n\r\n")
		if !strings.HasPrefix(answer, "HTTP/1.1 200") {
			t.Fatalf("%s: %.200s", path, answer)
		}
		head, body, _ := strings.Cut(answer, "\r\n\r\n")
		if regexp.MustCompile(`(?mi)^Set-Cookie`).MatchString(head) || strings.Contains(body, "<script>alert") {
			t.Errorf("%s: %s", path, answer)
		}
	}
}

// past is a history of nothing.
type past struct{}

func (*past) Span() (from, to time.Time) { return time.Unix(0, 0), time.Unix(3600, 0) }
func (*past) Health() history.Health     { return history.Health{Bytes: 1000} }
func (*past) Events(context.Context, string, time.Time, time.Time) ([]history.Event, error) {
	return nil, nil
}

func (*past) Bundle(_ context.Context, w io.Writer, from, to time.Time, d history.Detail, _ int64) (history.Bundled, error) {
	_, err := io.WriteString(w, "bundle")
	return history.Bundled{From: from, To: to, FullFrom: from, Bytes: 6, Detail: d}, err
}

// TestTooMuch: forms have a bound, and what is beyond is not even read.
func TestTooMuch(t *testing.T) {
	o, a := locked(t)
	s := running(t, o)
	head := "POST /sign-in HTTP/1.1\r\nHost: " + s.Addr() + "\r\nOrigin: http://" + s.Addr() + "\r\nContent-Type: application/x-www-form-urlencoded\r\n"
	large := form("name", "Anna", "password", password, "x", strings.Repeat("y", 1<<20))
	for name, c := range map[string]struct{ request, want string }{
		"a form of 1 MB":              {head + "Content-Length: " + strconv.Itoa(len(large)) + "\r\n\r\n" + large, "413"},
		"one that says no length":     {head + "Transfer-Encoding: chunked\r\n\r\n100000\r\n" + large[:1<<20] + "\r\n0\r\n\r\n", "413"},
		"one of 2^62 bytes":           {head + "Content-Length: 4611686018427387904\r\n\r\nname=Anna", "413"},
		"a body where none belongs":   {"GET / HTTP/1.1\r\nHost: " + s.Addr() + "\r\nContent-Length: 3\r\n\r\na=b", "400"},
		"two lengths":                 {head + "Content-Length: 3\r\nContent-Length: 4\r\n\r\na=bc", "400"},
		"a length and chunks":         {head + "Content-Length: 3\r\nTransfer-Encoding: chunked\r\n\r\n3\r\na=b\r\n0\r\n\r\n", "4"},
		"a head of 1 MB":              {"GET / HTTP/1.1\r\nHost: " + s.Addr() + "\r\nX: " + strings.Repeat("y", 1<<20) + "\r\n\r\n", "431"},
		"an address of 100 kB":        {"GET /sign-in?next=/" + strings.Repeat("y", 100_000) + " HTTP/1.1\r\nHost: " + s.Addr() + "\r\n\r\n", "431"},
		"a cookie of 10 kB":           {"GET /account HTTP/1.1\r\nHost: " + s.Addr() + "\r\nCookie: fluewright=" + strings.Repeat("y", 10_000) + "\r\n\r\n", "401"},
		"ten thousand fields":         {head + "Content-Length: 40000\r\n\r\n" + strings.Repeat("a=b&", 10_000), "403"},
		"a name and a password of 9k": {head + "Content-Length: 18014\r\n\r\nname=" + strings.Repeat("n", 9000) + "&password=" + strings.Repeat("p", 9000)[:8999], "403"},
	} {
		began := time.Now()
		answer := raw(t, s, c.request)
		if !strings.HasPrefix(answer, "HTTP/1.1 "+c.want) {
			t.Errorf("%s: %.100q", name, answer)
		}
		if took := time.Since(began); took > 8*time.Second {
			t.Errorf("%s took %v", name, took)
		}
	}
	if n := a.List()[0].Sessions; n != 0 {
		t.Errorf("somebody has signed in %d times", n)
	}
}

// TestNothingLeaks: what must stay secret gets into no log.
func TestNothingLeaks(t *testing.T) {
	var log bytes.Buffer
	o := options()
	o.Log = slog.New(slog.NewTextHandler(&log, &slog.HandlerOptions{Level: slog.LevelDebug}))
	a := access.Load("")
	o.Gate = &access.Gate{Accounts: a}
	code := a.OfferSetup()
	h := served(o)
	secrets := []string{code, password, "password typed as a name", "another four of them", "made-up-token", "made-up-session"}
	first := given(send(h, "POST", "/setup", form("code", code, "name", "Anna", "password", password), nil))
	id := given(send(h, "POST", "/sign-in", form("name", "Anna", "password", password), cookie("made-up-session")))
	token, err := a.AddToken("prometheus", access.Viewer)
	if err != nil || first == "" || id == "" {
		t.Fatal(err, first, id)
	}
	secrets = append(secrets, first, id, token)
	send(h, "POST", "/sign-in", form("name", "password typed as a name", "password", "another four of them"), nil)
	send(h, "POST", "/setup", form("code", "made-up-token", "name", "Ben", "password", password), nil)
	for _, shown := range []string{token, "made-up-token"} {
		send(h, "GET", "/metrics", "", func(r *http.Request) { r.Header.Set("Authorization", "Bearer "+shown) })
	}
	send(h, "POST", "/people/add", form("new-name", "Ben", "role", "viewer", "password", "another four of them"), cookie(id))
	id = given(send(h, "POST", "/account/password", form("old", password, "password", "another four of them"), cookie(id)))
	secrets = append(secrets, id)
	send(h, "POST", "/people/remove", form("name", "Ben"), cookie(id))
	send(h, "POST", "/sign-out", "", cookie(id))
	for _, secret := range secrets {
		if secret == "" || strings.Contains(log.String(), secret) {
			t.Errorf("%q is in the log:\n%s", secret, log.String())
		}
	}
	for _, want := range []string{"signed in", "sign-in refused", "password changed", "accounts changed"} {
		if !strings.Contains(log.String(), want) {
			t.Errorf("%q is not in the log", want)
		}
	}
}

// TestSlowClients: hundreds who send slowly or nothing keep nobody from the pages, from
// another address or from the same one, and a form that does not come holds nothing.
func TestSlowClients(t *testing.T) {
	o, _ := locked(t)
	s := running(t, o)
	begin := func(from, text string) net.Conn {
		d := net.Dialer{LocalAddr: &net.TCPAddr{IP: net.ParseIP(from)}, Timeout: 5 * time.Second}
		c, err := d.Dial("tcp", s.Addr())
		if err != nil {
			t.Fatal(err)
		}
		t.Cleanup(func() { _ = c.Close() })
		_, _ = io.WriteString(c, text) // some are sent away at once
		return c
	}
	form := "POST /sign-in HTTP/1.1\r\nHost: " + s.Addr() + "\r\nOrigin: http://" + s.Addr() + "\r\nContent-Length: 60000\r\n\r\nname="
	for i := range 2 * mostOfAddress {
		begin("127.0.0.2", []string{"", "GET / HT", "GET / HTTP/1.1\r\nHost: x\r\nX-A: b\r\n", form}[i%4])
	}
	for _, from := range []string{"127.0.0.1", "127.0.0.2"} {
		d := net.Dialer{LocalAddr: &net.TCPAddr{IP: net.ParseIP(from)}}
		client := &http.Client{Transport: &http.Transport{DialContext: d.DialContext, DisableKeepAlives: true}, Timeout: 3 * time.Second}
		for range 5 {
			a, err := client.Get(s.URL() + "sign-in")
			if err != nil {
				t.Fatalf("from %s: %v", from, err)
			}
			_ = a.Body.Close()
			if a.StatusCode != http.StatusOK {
				t.Errorf("from %s: %s", from, a.Status)
			}
		}
	}
	// Whoever sends nothing is given up.
	c := begin("127.0.0.1", "GET / HTTP/1.1\r\nHost: x\r\n")
	_ = c.SetReadDeadline(time.Now().Add(3 * headerTimeout))
	_, err := io.ReadAll(c)
	var late net.Error
	if errors.As(err, &late) && late.Timeout() {
		t.Error("a head that does not come is waited for")
	}
}

// TestWhoIsBeingServedStays: those who send slowly do not push out whoever reads a stream.
func TestWhoIsBeingServedStays(t *testing.T) {
	o := options()
	o.Feed.Publish(statustest.Burning())
	s := running(t, o)
	stream, err := http.Get(s.URL() + "events")
	if err != nil {
		t.Fatal(err)
	}
	defer stream.Body.Close()
	for range 2 * mostOfAddress {
		c, err := net.Dial("tcp", s.Addr())
		if err != nil {
			t.Fatal(err)
		}
		t.Cleanup(func() { _ = c.Close() })
		_, _ = io.WriteString(c, "GET / HTTP/1.1\r\n")
	}
	buffer := make([]byte, 64<<10)
	for began := time.Now(); time.Since(began) < 2500*time.Millisecond; {
		if _, err := stream.Body.Read(buffer); err != nil {
			t.Fatalf("after %v: %v", time.Since(began), err)
		}
	}
}

// running serves until the test ends.
func running(t *testing.T, o Options) *Server {
	t.Helper()
	s, err := Listen("127.0.0.1:0", o)
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	ended := make(chan error, 1)
	go func() { ended <- s.Run(ctx) }()
	t.Cleanup(func() {
		cancel()
		if err := <-ended; err != nil {
			t.Error(err)
		}
	})
	return s
}

// raw sends text as it is and returns all that is answered.
func raw(t *testing.T, s *Server, text string) string {
	t.Helper()
	c, err := net.Dial("tcp", s.Addr())
	if err != nil {
		t.Fatal(err)
	}
	defer c.Close()
	_ = c.SetDeadline(time.Now().Add(15 * time.Second))
	go func() { _, _ = io.WriteString(c, text) }() // it may be hung up on while it is sent
	var answer bytes.Buffer
	buffer := make([]byte, 4096)
	for {
		n, err := c.Read(buffer)
		answer.Write(buffer[:n])
		if err != nil || !strings.Contains(text, "Connection: close") && strings.Contains(answer.String(), "\r\n\r\n") {
			return answer.String()
		}
	}
}
