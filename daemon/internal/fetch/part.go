// Package fetch brings a bundle here from a monitor: from its pages, or through a broker.
// A line that breaks is no failure: what has come is kept with its identity, also when this
// program is killed, and the same request goes on there.
package fetch

import (
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"time"

	"fluewright/daemon/internal/handout"
)

// keepPart is how long a part that nobody went on with lies about.
const keepPart = 7 * 24 * time.Hour

// identity says of which bundle a part is.
type identity struct {
	ID   string `json:"sha256"`
	Size int64  `json:"size"`
}

// part is what has come of a bundle.
type part struct {
	path string
	file *os.File
	of   identity
	have int64
}

// where is the directory for parts.
func where() (string, error) {
	cache, err := os.UserCacheDir()
	if err != nil {
		cache = os.TempDir() // a service without a home
	}
	dir := filepath.Join(cache, "fluewright", "parts")
	return dir, os.MkdirAll(dir, 0o700)
}

// openPart opens what has come of the answer to a request. Somebody else who asks for the
// same at the same time gets a part of his own.
func openPart(from string, f handout.Form) (*part, error) {
	dir, err := where()
	if err != nil {
		return nil, fmt.Errorf("keep what comes: %w", err)
	}
	tidy(dir)
	sum := sha256.Sum256([]byte(from + "?" + f.Values().Encode()))
	for i := range 100 {
		p := &part{path: filepath.Join(dir, fmt.Sprintf("%x-%d.zip", sum[:8], i))}
		if p.file, err = os.OpenFile(p.path, os.O_RDWR|os.O_CREATE, 0o600); err != nil {
			return nil, fmt.Errorf("keep what comes: %w", err)
		}
		if !lock(p.file) {
			_ = p.file.Close() // another's
			continue
		}
		if err := p.resume(); err != nil {
			return nil, errors.Join(err, p.file.Close())
		}
		return p, nil
	}
	return nil, errors.New("keep what comes: a hundred others ask for the same")
}

// tidy takes away what was given up long ago.
func tidy(dir string) {
	all, err := os.ReadDir(dir)
	if err != nil {
		return
	}
	for _, e := range all {
		if info, err := e.Info(); err == nil && time.Since(info.ModTime()) > keepPart {
			_ = os.Remove(filepath.Join(dir, e.Name()))
		}
	}
}

func (p *part) note() string { return p.path + ".json" }

// resume takes up what an earlier run has left.
func (p *part) resume() error {
	info, err := p.file.Stat()
	if err != nil {
		return err
	}
	text, err := os.ReadFile(p.note())
	if err == nil {
		err = json.Unmarshal(text, &p.of)
	}
	if err != nil || p.of.ID == "" || p.of.Size <= 0 || info.Size() > p.of.Size {
		return p.begin(identity{})
	}
	p.have = info.Size()
	return nil
}

// begin forgets what has come: the answer is another one.
func (p *part) begin(of identity) error {
	p.of, p.have = of, 0
	if err := p.file.Truncate(0); err != nil {
		return fmt.Errorf("keep what comes: %w", err)
	}
	text, err := json.Marshal(of)
	if err == nil {
		err = os.WriteFile(p.note(), text, 0o600)
	}
	if err != nil {
		return fmt.Errorf("keep what comes: %w", err)
	}
	return nil
}

// add puts bytes behind what has come.
func (p *part) add(b []byte) error {
	if int64(len(b)) > p.of.Size-p.have {
		return errors.New("more comes than was said")
	}
	n, err := p.file.WriteAt(b, p.have)
	p.have += int64(n)
	if err != nil {
		return fmt.Errorf("keep what comes: %w", err)
	}
	return nil
}

func (p *part) whole() bool { return p.of.Size > 0 && p.have == p.of.Size }

var errSum = errors.New("what came is not what was sent")

// check compares the sum of what has come with what was said; a difference forgets it all.
func (p *part) check() error {
	sum := sha256.New()
	if _, err := io.Copy(sum, io.NewSectionReader(p.file, 0, p.have)); err != nil {
		return fmt.Errorf("check what came: %w", err)
	}
	if hex.EncodeToString(sum.Sum(nil)) != p.of.ID {
		return errors.Join(errSum, p.begin(identity{}))
	}
	return nil
}

// Close ends the work on the part, which stays if there is anything of it.
func (p *part) Close() error {
	if p.have == 0 {
		return errors.Join(os.Remove(p.note()), os.Remove(p.path), p.file.Close())
	}
	return p.file.Close()
}

// remove takes the part away.
func (p *part) remove() error {
	p.have = 0
	return p.Close()
}

// Fetched is a bundle that has come whole.
type Fetched struct {
	Path string
	part *part
}

// Close takes the bundle away: it has been used.
func (f *Fetched) Close() error {
	return f.part.remove()
}

// finish hands a whole part over.
func (p *part) finish() (*Fetched, error) {
	if err := p.check(); err != nil {
		return nil, err
	}
	return &Fetched{p.path, p}, nil
}
