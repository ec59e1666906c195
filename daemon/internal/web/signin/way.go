package signin

import (
	"net/http"

	"fluewright/daemon/internal/access"
)

func (p *Pages) showSignIn(w http.ResponseWriter, r *http.Request) {
	next := access.Local(r.URL.Query().Get("next"))
	switch {
	case p.o.Accounts.NeedsSetup():
		back(w, r, access.SetUpPath, "")
	case access.Of(r.Context()).Name != "":
		back(w, r, next, "")
	default:
		p.serve(w, r, p.signIn, "Sign in", http.StatusOK, view{Next: next})
	}
}

func (p *Pages) doSignIn(w http.ResponseWriter, r *http.Request) {
	next, name := access.Local(r.PostFormValue("next")), r.PostFormValue("name")
	id, err := p.o.Accounts.SignIn(r.Context(), access.From(r), name, r.PostFormValue("password"))
	if err != nil {
		// The name is not logged: now and then somebody types the password there.
		p.o.Log.Info("sign-in refused", "from", access.From(r))
		code, words := p.refused(w, r, err)
		p.serve(w, r, p.signIn, "Sign in", code, view{Wrong: words, Name: name, Next: next})
		return
	}
	p.begin(w, r, id)
	back(w, r, next, "")
}

// begin gives the browser its new session; one that it had is over, whoever's it was.
func (p *Pages) begin(w http.ResponseWriter, r *http.Request, id string) {
	if old := access.SessionID(r); old != "" {
		p.signOut(old)
	}
	access.Begin(w, r, id)
	p.o.Log.Info("signed in", "name", p.o.Accounts.Session(id).Name, "from", access.From(r))
}

func (p *Pages) signOut(id string) {
	if err := p.o.Accounts.SignOut(id); err != nil {
		p.o.Log.Warn("the end of a session was not written and may be forgotten at the next start", "error", err)
	}
}

func (p *Pages) doSignOut(w http.ResponseWriter, r *http.Request) {
	p.signOut(access.SessionID(r))
	access.End(w, r)
	back(w, r, access.SignInPath, "")
}

func (p *Pages) showSetUp(w http.ResponseWriter, r *http.Request) {
	if !p.o.Accounts.NeedsSetup() {
		back(w, r, access.SignInPath, "")
		return
	}
	p.serve(w, r, p.setUp, "Set up", http.StatusOK, view{})
}

func (p *Pages) doSetUp(w http.ResponseWriter, r *http.Request) {
	name := r.PostFormValue("name")
	id, err := p.o.Accounts.SetUp(r.Context(), access.From(r), r.PostFormValue("code"), name, r.PostFormValue("password"))
	if err != nil {
		p.o.Log.Info("set-up refused", "from", access.From(r))
		code, words := p.refused(w, r, err)
		p.serve(w, r, p.setUp, "Set up", code, view{Wrong: words, Name: name})
		return
	}
	p.begin(w, r, id)
	back(w, r, "/", "")
}
