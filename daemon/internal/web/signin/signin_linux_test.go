package signin_test

import (
	"context"
	"fmt"
	"log/slog"
	"net"
	"net/http"
	"strings"
	"testing"
	"time"

	"fluewright/daemon/internal/access"
	"fluewright/daemon/internal/config"
	"fluewright/daemon/internal/status"
	"fluewright/daemon/internal/status/statustest"
	"fluewright/daemon/internal/units"
	"fluewright/daemon/internal/web"
	"fluewright/daemon/internal/web/browsertest"
)

const password = "four plain cellar words"

// serve begins pages at a name for which browsers keep back what only encrypted pages get,
// as at an address of the house, and returns where they are.
func serve(t *testing.T, a *access.Accounts) string {
	t.Helper()
	feed := status.NewFeed()
	feed.Publish(statustest.Burning())
	s, err := web.Listen("127.0.0.1:0", web.Options{
		Site: "cellar-7", Feed: feed, Verdict: statustest.Site, Units: units.SI, Config: config.Default(), StaleAfter: time.Hour,
		Metrics: http.NotFoundHandler(), Gate: &access.Gate{Accounts: a}, Names: []string{"board.test"}, Log: slog.New(slog.DiscardHandler),
	})
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
	_, port, err := net.SplitHostPort(s.Addr())
	if err != nil {
		t.Fatal(err)
	}
	return "http://board.test:" + port
}

// fill types into fields and sends their form.
func fill(t *testing.T, tab *browsertest.Tab, form string, fields map[string]string) {
	t.Helper()
	for name, value := range fields {
		tab.Eval(fmt.Sprintf(`(() => { const f = document.querySelector(%q).elements[%q];
			if (f.type === undefined) { f.value = %q; } else { f.focus(); f.value = %q; } })()`, form, name, value, value), nil)
	}
	tab.Loading(func() { tab.Eval(fmt.Sprintf(`document.querySelector(%q).requestSubmit()`, form), nil) })
}

func at(tab *browsertest.Tab) (path string) {
	tab.Eval(`location.pathname + location.search + location.hash`, &path)
	return path
}

// TestFromTheCodeToTheOwner goes the whole way in a browser on plain HTTP in the house: code,
// owner, another person, another password, out and in again, with and without scripts.
func TestFromTheCodeToTheOwner(t *testing.T) {
	b := browsertest.Start(t)
	a := access.Load("")
	code := a.OfferSetup()
	root := serve(t, a)

	phone := b.Tab(t, browsertest.Look{Width: 390})
	phone.Open(root + "/")
	if got := at(phone); got != "/setup" {
		t.Errorf("a new monitor sends to %s", got)
	}
	phone.Eval(fmt.Sprintf(`location.hash = "code=%s"`, code), nil) // as by the picture, while it is open
	var typed string
	phone.Until(`document.getElementById("code").value !== ""`, 10*time.Second)
	phone.Eval(`document.getElementById("code").value`, &typed)
	if typed != code || at(phone) != "/setup" {
		t.Errorf("the code is %q at %s", typed, at(phone))
	}
	phone.Check("setup")
	fill(t, phone, "form", map[string]string{"name": "Anna", "password": password})
	if got := at(phone); got != "/" || !strings.Contains(phone.Text("footer"), "Signed in: Anna, owner") {
		t.Errorf("after that one is at %s: %s", got, phone.Text("main"))
	}

	phone.Open(root + "/people")
	fill(t, phone, `form[action="/people/add"]`, map[string]string{"new-name": "Ben Miller", "role": "installer", "password": "another four of them"})
	if !strings.Contains(phone.Text("main"), "The account is made.") || len(a.List()) != 2 {
		t.Errorf("no other person: %s", phone.Text("main"))
	}
	fill(t, phone, `form[action="/people/add"]`, map[string]string{"new-name": "Ben Miller", "role": "viewer", "password": "another four of them"})
	if !strings.Contains(phone.Text("[role=alert]:not([hidden])"), "already") {
		t.Errorf("the same person twice: %s", phone.Text("main"))
	}
	phone.Said() // the browser remarks the answer's code
	phone.Check("people-refused")
	phone.Open(root + "/account")
	fill(t, phone, `form[action="/account/password"]`, map[string]string{"old": password, "password": "yet another four"})
	if !strings.Contains(phone.Text("main"), "The password is changed") {
		t.Errorf("no other password: %s", phone.Text("main"))
	}
	phone.Loading(func() { phone.Tap(`form[action="/sign-out"] button`) })
	if got := at(phone); got != "/sign-in" {
		t.Errorf("signed out one is at %s", got)
	}

	bare := b.Tab(t, browsertest.Look{Width: 390, NoScript: true})
	bare.Open(root + "/people?x=1")
	if got := at(bare); got != "/sign-in?next=%2Fpeople%3Fx%3D1" {
		t.Errorf("who has not signed in is sent to %s", got)
	}
	fill(t, bare, "form", map[string]string{"name": "anna", "password": "wrong words"})
	if text := bare.Text("main"); !strings.Contains(text, "The name or the password is wrong.") {
		t.Errorf("a wrong password: %s", text)
	}
	bare.Shot("sign-in-refused")
	fill(t, bare, "form", map[string]string{"name": "anna", "password": "yet another four"})
	if got := at(bare); got != "/people?x=1" || !strings.Contains(bare.Text("main"), "Ben Miller") {
		t.Errorf("signed in one is at %s", got)
	}
}

// TestTheirLooks shows every page of these in every look.
func TestTheirLooks(t *testing.T) {
	b := browsertest.Start(t)
	a := access.Load("")
	for i, role := range access.Roles {
		if err := a.Add(t.Context(), []string{"Anna", "Ben Miller", "Cellar and Sons", "A name of thirty-one characters"}[i], role, password); err != nil {
			t.Fatal(err)
		}
	}
	root := serve(t, a)
	for _, look := range browsertest.Looks {
		t.Run(look.String(), func(t *testing.T) {
			tab := b.Tab(t, look)
			tab.Open(root + "/sign-in")
			tab.Check("sign-in")
			fill(t, tab, "form", map[string]string{"name": "Anna", "password": password})
			tab.Open(root + "/account")
			tab.Check("account")
			tab.Open(root + "/people")
			tab.Check("people")
			tab.Eval(`for (const d of document.querySelectorAll("main details")) d.open = true`, nil)
			tab.Check("people-open")
		})
	}
}
