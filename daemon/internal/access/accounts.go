package access

import (
	"cmp"
	"context"
	"fmt"
	"slices"
	"strings"
	"sync"
	"time"
	"unicode"
	"unicode/utf8"
)

// Bounds of the file.
const (
	mostAccounts = 32
	mostTokens   = 32
)

// Refusal is what is refused in words for whoever asked, and no failure.
type Refusal string

// Error returns the words.
func (r Refusal) Error() string { return string(r) }

// Accounts are who may sign in, who has, and the tokens of programs. Its methods may be
// called at the same time.
type Accounts struct {
	book   *book
	turn   turnstile
	limits *limits
	now    func() time.Time

	setup struct {
		mu    sync.Mutex
		code  string // empty: nobody can set up
		tries int
	}
	watched watched
}

// Load reads the accounts in the state directory; with an empty one they are kept in memory.
// Where the file cannot be read nobody can sign in, and [Accounts.Err] says why.
func Load(dir string) *Accounts {
	return &Accounts{book: newBook(dir), turn: newTurnstile(), limits: newLimits(), now: time.Now}
}

// Err says why the accounts cannot be read; nil if they can.
func (a *Accounts) Err() error { return a.book.view().err }

// wall is the time of day without what is only of this run.
func (a *Accounts) wall() time.Time { return a.now().UTC().Round(0) }

// Account is one that somebody may sign in to.
type Account struct {
	Name     string    `json:"name"`
	Role     Role      `json:"role"`
	Made     time.Time `json:"made"`
	Sessions int       `json:"sessions"` // how many are signed in
}

// List lists the accounts by name.
func (a *Accounts) List() []Account {
	h := a.book.view()
	all := make([]Account, 0, len(h.Accounts))
	for _, one := range h.Accounts {
		n := 0
		for _, s := range h.Sessions {
			if fold(s.Account) == fold(one.Name) && !s.over(a.wall()) {
				n++
			}
		}
		all = append(all, Account{one.Name, one.Role, one.Made, n})
	}
	slices.SortFunc(all, func(x, y Account) int { return cmp.Compare(fold(x.Name), fold(y.Name)) })
	return all
}

// fold is a name as it is compared: telephones begin every word with a capital.
func fold(name string) string { return strings.ToLower(strings.Join(strings.Fields(name), " ")) }

func checkName(name string) error {
	letter := func(r rune) bool { return unicode.IsLetter(r) || unicode.IsDigit(r) }
	for i, r := range name {
		if !letter(r) && (i == 0 || !strings.ContainsRune(" .-_@'", r)) {
			return Refusal("a name begins with a letter or digit and has only those, spaces and . - _ @ '")
		}
	}
	if n := utf8.RuneCountInString(name); n < 2 || n > 32 || !utf8.ValidString(name) {
		return Refusal("a name has 2 to 32 characters")
	}
	return nil
}

func checkRole(role Role, of []Role) error {
	if !slices.Contains(of, role) {
		return Refusal(fmt.Sprintf("there is no role %q; it is one of %v", role, of))
	}
	return nil
}

// clean takes away what is around and between words too many.
func clean(name string) string { return strings.Join(strings.Fields(name), " ") }

// made is a new account, with its password hashed.
func (a *Accounts) made(ctx context.Context, name string, role Role, password string) (one account, err error) {
	name = clean(name)
	if err := checkName(name); err != nil {
		return one, err
	}
	if err := checkRole(role, Roles); err != nil {
		return one, err
	}
	if err := checkPassword(name, password); err != nil {
		return one, err
	}
	phc, err := a.turn.hash(ctx, password)
	return account{name, role, phc, a.wall()}, err
}

// Add makes an account.
func (a *Accounts) Add(ctx context.Context, name string, role Role, password string) error {
	one, err := a.made(ctx, name, role, password)
	if err != nil {
		return err
	}
	return a.change(false, func(r *record) error {
		switch {
		case r.account(one.Name) != nil:
			return Refusal(fmt.Sprintf("there is an account %q already", one.Name))
		case r.token(one.Name):
			return Refusal(fmt.Sprintf("%q is the name of a program's token; one of them would pass for the other", one.Name))
		case len(r.Accounts) >= mostAccounts:
			return Refusal(fmt.Sprintf("there are %d accounts, and there can be no more", mostAccounts))
		}
		r.Accounts = append(r.Accounts, one)
		return nil
	})
}

func unknown(name string) error { return Refusal(fmt.Sprintf("there is no account %q", name)) }

const lastOwner = Refusal("this is the only owner; make another one first")

// SetRole gives an account another role. There is always an owner.
func (a *Accounts) SetRole(name string, role Role) error {
	if err := checkRole(role, Roles); err != nil {
		return err
	}
	return a.change(false, func(r *record) error {
		one := r.account(name)
		switch {
		case one == nil:
			return unknown(name)
		case one.Role == Owner && role != Owner && r.owners() == 1:
			return lastOwner
		}
		one.Role = role
		return nil
	})
}

// SetPassword gives an account another password, and signs it out everywhere.
func (a *Accounts) SetPassword(ctx context.Context, name, password string) error {
	known := a.book.view().account(name)
	if known == nil {
		return unknown(name)
	}
	if err := checkPassword(known.Name, password); err != nil {
		return err
	}
	phc, err := a.turn.hash(ctx, password)
	if err != nil {
		return err
	}
	return a.change(false, func(r *record) error {
		one := r.account(name)
		if one == nil {
			return unknown(name)
		}
		one.Password = phc
		r.endSessions(name)
		return nil
	})
}

// Remove takes an account away, with its sessions. The last owner stays.
func (a *Accounts) Remove(name string) error {
	return a.change(false, func(r *record) error {
		one := r.account(name)
		switch {
		case one == nil:
			return unknown(name)
		case one.Role == Owner && r.owners() == 1:
			return lastOwner
		}
		r.endSessions(name)
		r.Accounts = slices.DeleteFunc(r.Accounts, func(x account) bool { return fold(x.Name) == fold(name) })
		return nil
	})
}

// Token is what a program shows instead of a password.
type Token struct {
	Name string    `json:"name"`
	Role Role      `json:"role"`
	Made time.Time `json:"made"`
}

// Tokens lists the tokens by name.
func (a *Accounts) Tokens() []Token {
	h := a.book.view()
	all := make([]Token, 0, len(h.Tokens))
	for _, t := range h.Tokens {
		all = append(all, Token{t.Name, t.Role, t.Made})
	}
	slices.SortFunc(all, func(x, y Token) int { return cmp.Compare(fold(x.Name), fold(y.Name)) })
	return all
}

// AddToken makes a token and returns it; it cannot be asked for again.
func (a *Accounts) AddToken(name string, role Role) (string, error) {
	name = clean(name)
	if err := checkName(name); err != nil {
		return "", err
	}
	if err := checkRole(role, MachineRoles); err != nil {
		return "", err
	}
	text := tokenPrefix + secret()
	err := a.change(false, func(r *record) error {
		switch {
		case r.account(name) != nil:
			return Refusal(fmt.Sprintf("%q is the name of a person; one of them would pass for the other", name))
		case r.token(name):
			return Refusal(fmt.Sprintf("there is a token %q already; remove it first", name))
		case len(r.Tokens) >= mostTokens:
			return Refusal(fmt.Sprintf("there are %d tokens, and there can be no more", mostTokens))
		}
		r.Tokens = append(r.Tokens, token{recognise(text), name, role, a.wall()})
		return nil
	})
	if err != nil {
		return "", err
	}
	return text, nil
}

// RemoveToken takes a token away.
func (a *Accounts) RemoveToken(name string) error {
	return a.change(false, func(r *record) error {
		before := len(r.Tokens)
		r.Tokens = slices.DeleteFunc(r.Tokens, func(t token) bool { return fold(t.Name) == fold(name) })
		if len(r.Tokens) == before {
			return Refusal(fmt.Sprintf("there is no token %q", name))
		}
		return nil
	})
}

// change changes the file, and ends the requests of those who may not go on.
func (a *Accounts) change(keep bool, f func(*record) error) error {
	err := a.book.change(keep, f)
	a.watched.look()
	return err
}
