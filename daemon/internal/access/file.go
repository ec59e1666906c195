package access

import (
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"sync"
	"sync/atomic"
	"time"

	"fluewright/daemon/internal/atomicfile"
)

// The file of accounts, in the state directory. The daemon and the command on the board both
// read and write it: each change is made on what stands there, under a lock, and whoever
// reads looks whether it is another one by now.
const (
	fileName    = "access.json"
	fileVersion = 1
)

// record is what the file holds. It holds no password, no session's id and no token, only
// what they can be recognised by.
type record struct {
	Version  int       `json:"version"`
	Accounts []account `json:"accounts"`
	Sessions []session `json:"sessions"`
	Tokens   []token   `json:"tokens"`
}

type account struct {
	Name     string    `json:"name"`
	Role     Role      `json:"role"`
	Password string    `json:"password"` // PHC string
	Made     time.Time `json:"made"`
}

type session struct {
	Hash    string    `json:"sha256"` // of the id
	Account string    `json:"account"`
	Made    time.Time `json:"made"`
	Used    time.Time `json:"used"` // to within touchAfter
}

type token struct {
	Hash string    `json:"sha256"`
	Name string    `json:"name"`
	Role Role      `json:"role"`
	Made time.Time `json:"made"`
}

func (r *record) account(name string) *account {
	name = fold(name)
	i := slices.IndexFunc(r.Accounts, func(a account) bool { return fold(a.Name) == name })
	if i < 0 {
		return nil
	}
	return &r.Accounts[i]
}

// token reports whether there is a token of that name.
func (r *record) token(name string) bool {
	return slices.ContainsFunc(r.Tokens, func(t token) bool { return fold(t.Name) == fold(name) })
}

func (r *record) session(hash string) *session {
	i := slices.IndexFunc(r.Sessions, func(s session) bool { return s.Hash == hash })
	if i < 0 {
		return nil
	}
	return &r.Sessions[i]
}

// endSessions ends all sessions of an account.
func (r *record) endSessions(name string) {
	name = fold(name)
	r.Sessions = slices.DeleteFunc(r.Sessions, func(s session) bool { return fold(s.Account) == name })
}

func (r *record) owners() (n int) {
	for _, a := range r.Accounts {
		if a.Role == Owner {
			n++
		}
	}
	return n
}

// check says what in a file from elsewhere cannot be.
func (r *record) check() error {
	if r.Version != fileVersion {
		return fmt.Errorf("its version is %d and not %d", r.Version, fileVersion)
	}
	for _, a := range r.Accounts {
		if _, err := parseHash(a.Password); err != nil {
			return fmt.Errorf("account %q: %w", a.Name, err)
		}
		if !slices.Contains(Roles, a.Role) {
			return fmt.Errorf("account %q: there is no role %q", a.Name, a.Role)
		}
	}
	return nil
}

// held is what was read, or written, last.
type held struct {
	record
	of  os.FileInfo // nil: there was no file
	err error       // it cannot be read; then it is empty
}

// book keeps the file. A page never waits for the storage to be written: readers have what
// was held last.
type book struct {
	dir  string // empty: nothing is kept
	mu   sync.Mutex
	last atomic.Pointer[held]
	// write puts a file in its place.
	write func(dir, name string, data []byte) error
}

func newBook(dir string) *book {
	b := &book{dir: dir, write: atomicfile.WritePrivate}
	b.last.Store(b.read())
	return b
}

func (b *book) path() string { return filepath.Join(b.dir, fileName) }

func (b *book) read() *held {
	h := &held{record: record{Version: fileVersion}}
	if b.dir == "" {
		return h
	}
	info, err := os.Stat(b.path())
	if errors.Is(err, fs.ErrNotExist) {
		return h
	}
	var text []byte
	if err == nil {
		text, err = os.ReadFile(b.path())
	}
	if err != nil {
		h.err = fmt.Errorf("read the accounts: %w", err) // and try again the next time
		return h
	}
	h.of = info
	var r record
	if err = json.Unmarshal(text, &r); err == nil {
		err = r.check()
	}
	if err != nil {
		h.err = fmt.Errorf("read the accounts in %s: %w", b.path(), err)
		return h
	}
	h.record = r
	return h
}

// same reports whether the file is still the one that was read: each change makes a new one.
func (b *book) same(h *held) bool {
	if b.dir == "" {
		return true
	}
	info, err := os.Stat(b.path())
	if err != nil || h.of == nil {
		return errors.Is(err, fs.ErrNotExist) && h.of == nil
	}
	return os.SameFile(info, h.of) && info.ModTime().Equal(h.of.ModTime()) && info.Size() == h.of.Size()
}

// view returns what stands in the file. It must not be changed.
func (b *book) view() *held {
	if h := b.last.Load(); b.same(h) {
		return h
	}
	if b.mu.TryLock() { // else somebody is just making it another one
		b.last.Store(b.read())
		b.mu.Unlock()
	}
	return b.last.Load()
}

// change makes a change of what stands in the file. Where keep is set it holds, until the
// file is another one, also if it cannot be written.
func (b *book) change(keep bool, f func(*record) error) error {
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.dir == "" {
		h := b.last.Load().clone()
		if err := f(&h.record); err != nil {
			return err
		}
		b.last.Store(h)
		return nil
	}
	unlock, err := lockDir(b.dir)
	if err != nil {
		return fmt.Errorf("lock the accounts: %w", err)
	}
	defer unlock()
	before := b.last.Load()
	if !b.same(before) {
		before = b.read()
		b.last.Store(before)
	}
	if before.err != nil {
		return before.err
	}
	h := before.clone()
	if err := f(&h.record); err != nil {
		return err
	}
	text, err := json.MarshalIndent(h.record, "", " ")
	if err == nil {
		err = b.write(b.dir, fileName, append(text, '\n'))
	}
	if err == nil {
		h.of, err = os.Stat(b.path())
	}
	if err == nil || keep {
		b.last.Store(h)
	}
	if err != nil {
		return fmt.Errorf("write the accounts: %w", err)
	}
	return nil
}

func (h *held) clone() *held {
	c := *h
	c.Accounts, c.Sessions, c.Tokens = slices.Clone(h.Accounts), slices.Clone(h.Sessions), slices.Clone(h.Tokens)
	return &c
}
