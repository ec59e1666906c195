package signin

import (
	"net/http"
	"strings"

	"fluewright/daemon/internal/access"
)

func (p *Pages) showAccount(w http.ResponseWriter, r *http.Request) {
	p.accountPage(w, r, http.StatusOK, view{Done: done(r)})
}

func (p *Pages) accountPage(w http.ResponseWriter, r *http.Request, code int, v view) {
	who := access.Of(r.Context())
	v.Name, v.Role = who.Name, who.Role
	p.serve(w, r, p.account, "Account", code, v)
}

func (p *Pages) doPassword(w http.ResponseWriter, r *http.Request) {
	who := access.Of(r.Context())
	id, err := p.o.Accounts.ChangePassword(r.Context(), access.From(r), who.Name, r.PostFormValue("old"), r.PostFormValue("password"))
	if err != nil {
		code, words := p.refused(w, r, err)
		p.accountPage(w, r, code, view{Wrong: words})
		return
	}
	access.Begin(w, r, id)
	p.o.Log.Info("password changed", "name", who.Name, "from", access.From(r))
	back(w, r, "/account", "password")
}

func (p *Pages) doSignOutEverywhere(w http.ResponseWriter, r *http.Request) {
	who := access.Of(r.Context())
	if err := p.o.Accounts.SignOutEverywhere(who.Name); err != nil {
		code, words := p.refused(w, r, err)
		p.accountPage(w, r, code, view{Wrong: words})
		return
	}
	access.End(w, r)
	back(w, r, access.SignInPath, "")
}

func (p *Pages) showPeople(w http.ResponseWriter, r *http.Request) {
	p.peoplePage(w, r, http.StatusOK, view{Done: done(r)})
}

func (p *Pages) peoplePage(w http.ResponseWriter, r *http.Request, code int, v view) {
	own := access.Of(r.Context()).Name
	for _, a := range p.o.Accounts.List() {
		v.People = append(v.People, row{a, may(a.Role), a.Name == own})
	}
	p.serve(w, r, p.persons, "People", code, v)
}

// manage carries out what the owner asks and says what came of it.
func (p *Pages) manage(w http.ResponseWriter, r *http.Request, what string, err error) {
	if err != nil {
		code, words := p.refused(w, r, err)
		p.peoplePage(w, r, code, view{Wrong: words, Name: r.PostFormValue("new-name")})
		return
	}
	p.o.Log.Info("accounts changed", "what", what, "by", access.Of(r.Context()).Name)
	back(w, r, "/people", what)
}

func (p *Pages) doAdd(w http.ResponseWriter, r *http.Request) {
	p.manage(w, r, "added", p.o.Accounts.Add(r.Context(), r.PostFormValue("new-name"),
		access.Role(r.PostFormValue("role")), r.PostFormValue("password")))
}

func (p *Pages) doRole(w http.ResponseWriter, r *http.Request) {
	p.manage(w, r, "role", p.o.Accounts.SetRole(r.PostFormValue("name"), access.Role(r.PostFormValue("role"))))
}

// anothers refuses what nobody does to oneself: without the present password whoever finds
// the telephone of an owner would lock the owner out.
func anothers(r *http.Request, do func(name string) error) error {
	name := r.PostFormValue("name")
	if strings.EqualFold(name, access.Of(r.Context()).Name) {
		return access.Refusal("this is your own account; its password is changed under Account, and another owner can remove it")
	}
	return do(name)
}

func (p *Pages) doOthersPassword(w http.ResponseWriter, r *http.Request) {
	p.manage(w, r, "reset", anothers(r, func(name string) error {
		return p.o.Accounts.SetPassword(r.Context(), name, r.PostFormValue("password"))
	}))
}

func (p *Pages) doRemove(w http.ResponseWriter, r *http.Request) {
	p.manage(w, r, "removed", anothers(r, p.o.Accounts.Remove))
}
