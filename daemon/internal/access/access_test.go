package access

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"net/netip"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"testing/synctest"
	"time"
)

var phone, elsewhere = netip.MustParseAddr("192.168.7.31"), netip.MustParseAddr("192.168.7.66")

const good, other = "four plain cellar words", "another four of them"

// furnished returns accounts with an owner, in a directory.
func furnished(t *testing.T) (*Accounts, string) {
	t.Helper()
	dir := t.TempDir()
	a := Load(dir)
	a.turn.memory = 64 // else the tests take long
	if err := a.Add(t.Context(), "Anna", Owner, good); err != nil {
		t.Fatal(err)
	}
	return a, dir
}

func signIn(t *testing.T, a *Accounts, name, password string) string {
	t.Helper()
	id, err := a.SignIn(t.Context(), phone, name, password)
	if err != nil {
		t.Fatal(err)
	}
	return id
}

func TestASessionOutlivesARestart(t *testing.T) {
	a, dir := furnished(t)
	id := signIn(t, a, " anna ", good)
	if p := Load(dir).Session(id); p != (Person{Name: "Anna", Role: Owner}) {
		t.Errorf("after a restart it is %+v's", p)
	}
	if err := a.SignOut(id); err != nil {
		t.Fatal(err)
	}
	for when, a := range map[string]*Accounts{"after the end": a, "after the end and a restart": Load(dir)} {
		if p := a.Session(id); p.Name != "" {
			t.Errorf("%s it is %+v's", when, p)
		}
	}
}

// TestNothingSecretIsKept: whoever gets the file can sign in nowhere.
func TestNothingSecretIsKept(t *testing.T) {
	a, dir := furnished(t)
	id := signIn(t, a, "Anna", good)
	token, err := a.AddToken("prometheus", Viewer)
	if err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(dir, fileName)
	text, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	for _, secret := range []string{id, token, good} {
		if bytes.Contains(text, []byte(secret)) {
			t.Errorf("the file holds %q", secret)
		}
	}
	info, err := os.Stat(path)
	if err != nil || info.Mode().Perm() != 0o600 {
		t.Errorf("the file is %v, %v", info.Mode(), err)
	}
	if p := a.Token(token); p != (Person{Name: "prometheus", Role: Viewer, Machine: true}) {
		t.Errorf("the token is %+v's", p)
	}
	if p := a.Token(id); p.Name != "" {
		t.Error("a session's id passes for a token")
	}
	if p := a.Session(token); p.Name != "" {
		t.Error("a token passes for a session")
	}
}

// TestHowLongASessionLasts: a month, or a week unused.
func TestHowLongASessionLasts(t *testing.T) {
	for _, tt := range []struct {
		name  string
		every time.Duration // it is used
		want  time.Duration // the first look at which it is over
	}{
		{"used each day", 24 * time.Hour, 31 * 24 * time.Hour},
		{"used each sixth day", 6 * 24 * time.Hour, 36 * 24 * time.Hour},
		{"not used for more than a week", 7*24*time.Hour + time.Minute, 7*24*time.Hour + time.Minute},
	} {
		t.Run(tt.name, func(t *testing.T) {
			a, _ := furnished(t)
			now := time.Now()
			a.now = func() time.Time { return now }
			id := signIn(t, a, "Anna", good)
			var age time.Duration
			for a.Session(id).Name != "" && age < 100*24*time.Hour {
				age += tt.every
				now = now.Add(tt.every)
			}
			if age != tt.want {
				t.Errorf("it lasted %v, want %v", age, tt.want)
			}
		})
	}
}

// TestAClockThatGoesBack: a board without a battery starts in the past.
func TestAClockThatGoesBack(t *testing.T) {
	a, dir := furnished(t)
	id := signIn(t, a, "Anna", good)
	b := Load(dir)
	b.now = func() time.Time { return time.Unix(1000, 0) }
	if b.Session(id).Name == "" {
		t.Error("a clock that is not set signs everybody out")
	}
}

func TestWhatEndsSessions(t *testing.T) {
	for _, tt := range []struct {
		name string
		do   func(*Accounts) error
	}{
		{"another password", func(a *Accounts) error { return a.SetPassword(context.Background(), "ben", other) }},
		{"removal", func(a *Accounts) error { return a.Remove("BEN") }},
		{"signing out everywhere", func(a *Accounts) error { return a.SignOutEverywhere("Ben") }},
		{"removal and an account of the same name", func(a *Accounts) error {
			return errors.Join(a.Remove("Ben"), a.Add(context.Background(), "Ben", Viewer, other))
		}},
	} {
		t.Run(tt.name, func(t *testing.T) {
			a, dir := furnished(t)
			if err := a.Add(t.Context(), "Ben", Installer, good); err != nil {
				t.Fatal(err)
			}
			bens, annas := signIn(t, a, "Ben", good), signIn(t, a, "Anna", good)
			// As the command on the board does it, beside the daemon.
			if err := tt.do(Load(dir)); err != nil {
				t.Fatal(err)
			}
			if p := a.Session(bens); p.Name != "" {
				t.Errorf("it is still %+v's", p)
			}
			if a.Session(annas).Name != "Anna" {
				t.Error("somebody else's session ended too")
			}
		})
	}
}

func TestOnesOwnPassword(t *testing.T) {
	a, _ := furnished(t)
	before := signIn(t, a, "Anna", good)
	if _, err := a.ChangePassword(t.Context(), phone, "Anna", other, "yet another four words"); !errors.Is(err, ErrWrong) {
		t.Errorf("with a wrong one: %v", err)
	}
	id, err := a.ChangePassword(t.Context(), phone, "Anna", good, other)
	if err != nil {
		t.Fatal(err)
	}
	if a.Session(before).Name != "" || a.Session(id).Name != "Anna" {
		t.Error("the old session goes on, or the new one does not")
	}
	if _, err := a.SignIn(t.Context(), phone, "Anna", good); !errors.Is(err, ErrWrong) {
		t.Errorf("the old password: %v", err)
	}
}

func TestAnotherRoleHoldsAtOnce(t *testing.T) {
	a, dir := furnished(t)
	if err := a.Add(t.Context(), "Ben", Installer, good); err != nil {
		t.Fatal(err)
	}
	id := signIn(t, a, "Ben", good)
	if err := Load(dir).SetRole("Ben", Viewer); err != nil {
		t.Fatal(err)
	}
	if p := a.Session(id); p.Role != Viewer {
		t.Errorf("he is still %v", p.Role)
	}
}

func TestWhatIsRefused(t *testing.T) {
	a, _ := furnished(t)
	add := func(name string, role Role, password string) error { return a.Add(t.Context(), name, role, password) }
	for what, err := range map[string]error{
		"the only owner goes":               a.Remove("Anna"),
		"the only owner takes another role": a.SetRole("Anna", Viewer),
		"the same name":                     add("ANNA", Viewer, good),
		"no name":                           add("", Viewer, good),
		"a name with a line in it":          add("Be\nn", Viewer, good+"\n"),
		"a name with markup":                add("<b>Ben", Viewer, good),
		"no role":                           add("Ben", "", good),
		"an unknown role":                   add("Ben", "root", good),
		"a short password":                  add("Ben", Viewer, "123456789"),
		"the name as password":              add("Benedict", Viewer, "benedict benedict"),
		"the same sign over and over":       add("Ben", Viewer, "aaaaaaaaaaaa"),
		"a very long password":              add("Ben", Viewer, strings.Repeat("ab", 200)),
		"an unknown account's role":         a.SetRole("Carl", Viewer),
		"an unknown account's password":     a.SetPassword(t.Context(), "Carl", good),
		"an unknown account goes":           a.Remove("Carl"),
		"an owner's token":                  second(a.AddToken("mine", Owner)),
		"a token with a person's name":      second(a.AddToken("anna", Viewer)),
		"an unknown token goes":             a.RemoveToken("mine"),
	} {
		var refused Refusal
		if !errors.As(err, &refused) {
			t.Errorf("%s: %v", what, err)
		}
	}
	if n := len(a.List()); n != 1 {
		t.Errorf("there are %d accounts", n)
	}
}

func second[T any](_ T, err error) error { return err }

func TestTheSetUpCode(t *testing.T) {
	a := Load(t.TempDir())
	first := a.OfferSetup()
	if len(strings.ReplaceAll(first, "-", "")) != codeLength || strings.ContainsAny(first, "01258BGILOSUVZ") {
		t.Errorf("the code is %q", first)
	}
	code := a.OfferSetup()
	set := func(code, name string) error {
		_, err := a.SetUp(t.Context(), phone, code, name, good)
		return err
	}
	if code == first || set(first, "Anna") == nil {
		t.Error("the code of an earlier start holds")
	}
	if set("", "Anna") == nil {
		t.Error("it goes without a code")
	}
	if err := set(strings.ToLower(strings.ReplaceAll(code, "-", " ")), "Anna"); err != nil {
		t.Errorf("typed by hand: %v", err)
	}
	if err := set(code, "Ben"); !errors.Is(err, ErrSetUp) {
		t.Errorf("a second time: %v", err)
	}
	if a.OfferSetup() != "" || a.NeedsSetup() {
		t.Error("there is a code although there is an owner")
	}
	if l := a.List(); len(l) != 1 || l[0].Role != Owner {
		t.Errorf("there are %+v", l)
	}
}

func TestGuessingTheCode(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		a := Load("")
		code := a.OfferSetup()
		tries := 0
		for i := 0; ; i++ {
			from := netip.AddrFrom4([4]byte{10, 0, byte(i >> 8), byte(i)})
			_, err := a.SetUp(t.Context(), from, fmt.Sprint(i), "Mallory", good)
			var wait *WaitError
			if errors.As(err, &wait) {
				time.Sleep(wait.For)
				continue
			}
			if errors.Is(err, ErrNoCode) {
				break
			}
			if tries++; tries > 1000 {
				t.Fatal("it may be guessed at for ever")
			}
		}
		if tries != codeTries {
			t.Errorf("%d tries", tries)
		}
		if _, err := a.SetUp(t.Context(), phone, code, "Anna", good); err == nil {
			t.Error("the code still holds")
		}
		if a.OfferSetup() == "" {
			t.Error("the next start offers none")
		}
	})
}

// TestAFileThatCannotBeRead: nobody gets in, nobody can set up anew, and nothing is lost.
func TestAFileThatCannotBeRead(t *testing.T) {
	for name, text := range map[string]string{
		"no JSON": "{", "a later version": `{"version":2}`,
		"no hash":      `{"version":1,"accounts":[{"name":"Anna","role":"owner","password":"hunter2"}]}`,
		"a role twice": `{"version":1,"accounts":[{"name":"Anna","role":"root","password":"` + newTurnstile().nobodys() + `"}]}`,
	} {
		t.Run(name, func(t *testing.T) {
			a, dir := furnished(t)
			id := signIn(t, a, "Anna", good)
			path := filepath.Join(dir, fileName)
			whole, err := os.ReadFile(path)
			if err != nil {
				t.Fatal(err)
			}
			if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
				t.Fatal(err)
			}
			if a.Err() == nil || a.Session(id).Name != "" || a.NeedsSetup() || a.OfferSetup() != "" {
				t.Error("it is taken for an empty one, or the old one")
			}
			if err := a.Add(t.Context(), "Ben", Owner, good); err == nil {
				t.Error("it is written over")
			}
			if _, err := a.SignIn(t.Context(), phone, "Anna", good); err == nil || errors.Is(err, ErrWrong) {
				t.Errorf("signing in: %v", err)
			}
			if err := os.WriteFile(path, whole, 0o600); err != nil {
				t.Fatal(err)
			}
			if a.Session(id).Name != "Anna" {
				t.Error("it is not read again when it is mended")
			}
		})
	}
}

// TestAFullDisk: whoever signs in or out while nothing can be written is in or out all the
// same, until the next start; an account that would be gone then is not made.
func TestAFullDisk(t *testing.T) {
	a, dir := furnished(t)
	a.book.write = func(string, string, []byte) error { return errors.New("no space left on device") }
	id := signIn(t, a, "Anna", good)
	if a.Session(id).Name != "Anna" {
		t.Error("whoever signs in is not in")
	}
	if err := a.SignOut(id); err == nil || a.Session(id).Name != "" {
		t.Errorf("whoever signs out is in, or does not learn that it may be forgotten: %v", err)
	}
	if err := a.Add(t.Context(), "Ben", Viewer, good); err == nil || len(a.List()) != 1 {
		t.Errorf("an account is made that is not written: %v", err)
	}
	if n := len(Load(dir).List()); n != 1 {
		t.Errorf("after a restart there are %d accounts", n)
	}
}

// TestBoundedFile: whoever signs in again and again fills no disk.
func TestBoundedFile(t *testing.T) {
	a, _ := furnished(t)
	first := signIn(t, a, "Anna", good)
	for range mostSessions {
		if _, err := a.begin("Anna"); err != nil {
			t.Fatal(err)
		}
	}
	if n := a.List()[0].Sessions; n != mostSessions {
		t.Errorf("%d sessions", n)
	}
	if a.Session(first).Name != "" {
		t.Error("the oldest is still there")
	}
}

func TestManyChangeAtOnce(t *testing.T) {
	_, dir := furnished(t)
	const n = 8
	ended := make(chan error, n)
	for i := range n {
		go func() {
			_, err := Load(dir).AddToken(fmt.Sprint("program ", i), Viewer)
			ended <- err
		}()
	}
	for range n {
		if err := <-ended; err != nil {
			t.Error(err)
		}
	}
	if got := len(Load(dir).Tokens()); got != n {
		t.Errorf("%d of %d tokens are there", got, n)
	}
}

func FuzzHash(f *testing.F) {
	f.Add(newTurnstile().nobodys())
	f.Add("$argon2id$v=19$m=4294967295,t=2,p=1$AAAAAAAAAAA$AAAAAAAAAAAAAAAAAAAAAA")
	f.Fuzz(func(t *testing.T, phc string) {
		h, err := parseHash(phc)
		if err == nil && (h.memory > 64<<10 || h.passes > 8 || h.lanes == 0 || len(h.sum) == 0) {
			t.Errorf("%q costs %+v", phc, h)
		}
	})
}

func BenchmarkHash(b *testing.B) {
	turn := newTurnstile()
	b.ReportAllocs()
	for b.Loop() {
		if _, err := turn.hash(b.Context(), good); err != nil {
			b.Fatal(err)
		}
	}
}
