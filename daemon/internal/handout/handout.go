// Package handout makes bundles of the history that is being kept for those who ask from
// elsewhere, and keeps each for a while: whoever lost the line in the middle goes on where
// it broke. One is made at a time, and few are kept, so that neither the storage nor the
// program has much of it.
package handout

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"os"
	"path/filepath"
	"slices"
	"sync"
	"time"

	"fluewright/daemon/internal/history"
	"fluewright/daemon/internal/trend"
)

// The bounds of what is kept.
const (
	// MostBytes bounds a bundle: a season of readings.
	MostBytes = 100_000_000
	// keepFor is how long a bundle is kept after it was last asked for.
	keepFor = 15 * time.Minute
	// mostKept bounds how many there are.
	mostKept = 3
	// mostWaiting bounds how many may wait for theirs to be made.
	mostWaiting = 4
	// leastFree is what must be left of the storage, bytes: the history itself needs it.
	leastFree = 64_000_000
)

// The reasons for which nothing is handed out.
var (
	ErrBusy = errors.New("several bundles are being made already: ask again in a minute")
	ErrFull = errors.New("the monitor's storage has too little room for a bundle: ask for a shorter window")
)

// Wish is what is asked for.
type Wish struct {
	trend.Pick
	Detail history.Detail
}

// Source is the history that is being kept.
type Source interface {
	trend.Source
	Bundle(ctx context.Context, w io.Writer, from, to time.Time, detail history.Detail, most int64) (history.Bundled, error)
	Health() history.Health
}

// Bundle is one that is kept. ID is the SHA-256 of its bytes, in hexadecimal digits.
type Bundle struct {
	history.Bundled
	ID   string
	Made time.Time

	path string
	used time.Time
}

// Open opens the bundle's file.
func (b *Bundle) Open() (*os.File, error) { return os.Open(b.path) }

// Desk hands bundles out. Its directory is its own: what lies there is taken away.
type Desk struct {
	dir    string
	source Source
	log    *slog.Logger
	turn   chan struct{} // held by whoever makes one
	free   func(dir string) (int64, error)

	mu      sync.Mutex
	waiting int
	kept    []*Bundle
}

// New returns a desk that keeps its bundles in dir, which is made when it is needed.
func New(dir string, source Source, log *slog.Logger) *Desk {
	return &Desk{dir: dir, source: source, log: log, turn: make(chan struct{}, 1), free: freeOn}
}

// Run forgets what nobody has asked for in a while, until ctx ends; then everything.
func (d *Desk) Run(ctx context.Context) error {
	d.clear()
	defer d.clear()
	t := time.NewTicker(time.Minute)
	defer t.Stop()
	for {
		select {
		case <-ctx.Done():
			return nil
		case now := <-t.C:
			d.forget(func(b *Bundle) bool { return now.Sub(b.used) > keepFor })
		}
	}
}

func (d *Desk) clear() {
	d.mu.Lock()
	d.kept = nil
	d.mu.Unlock()
	if err := os.RemoveAll(d.dir); err != nil {
		d.log.Warn("bundles that nobody needs are left behind", "error", err)
	}
}

func (d *Desk) forget(old func(*Bundle) bool) {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.kept = slices.DeleteFunc(d.kept, func(b *Bundle) bool {
		if !old(b) {
			return false
		}
		_ = os.Remove(b.path) // the directory goes in the end
		return true
	})
}

// Find returns a bundle that is kept, nil if it is not.
func (d *Desk) Find(id string) *Bundle {
	d.mu.Lock()
	defer d.mu.Unlock()
	for _, b := range d.kept {
		if b.ID == id {
			b.used = time.Now()
			return b
		}
	}
	return nil
}

// Make makes a bundle, when it is its turn.
func (d *Desk) Make(ctx context.Context, w Wish) (*Bundle, error) {
	if !d.queue(1) {
		return nil, ErrBusy
	}
	defer d.queue(-1)
	select {
	case d.turn <- struct{}{}:
	case <-ctx.Done():
		return nil, ctx.Err()
	}
	defer func() { <-d.turn }()
	window, err := w.Window(ctx, d.source)
	if err != nil {
		return nil, err
	}
	if err := os.MkdirAll(d.dir, 0o700); err != nil {
		return nil, fmt.Errorf("make bundle: %w", err)
	}
	if err := d.room(window); err != nil {
		return nil, err
	}
	b, err := d.write(ctx, window, w.Detail)
	if err != nil {
		return nil, err
	}
	d.mu.Lock()
	for len(d.kept) >= mostKept {
		oldest := slices.MinFunc(d.kept, func(a, b *Bundle) int { return a.used.Compare(b.used) })
		_ = os.Remove(oldest.path) // whoever reads it has it open
		d.kept = slices.DeleteFunc(d.kept, func(b *Bundle) bool { return b == oldest })
	}
	d.kept = append(d.kept, b)
	d.mu.Unlock()
	d.log.Info("a bundle was made", "from", b.From, "to", b.To, "bytes", b.Bytes, "took", time.Since(b.Made).Round(time.Millisecond))
	return b, nil
}

// queue counts who waits, and reports whether there is room for n more.
func (d *Desk) queue(n int) bool {
	d.mu.Lock()
	defer d.mu.Unlock()
	if d.waiting+n > mostWaiting {
		return false
	}
	d.waiting += n
	return true
}

// room checks that the storage has room: for a copy of the window, for what SQLite does with
// it, and for the bundle, none of them larger than the window's share of the history.
func (d *Desk) room(w trend.Window) error {
	free, err := d.free(d.dir)
	if err != nil {
		return fmt.Errorf("make bundle: %w", err)
	}
	from, to := d.source.Span()
	share := 1.0
	if whole := to.Sub(from); whole > 0 {
		share = min(w.To.Sub(w.From).Seconds()/whole.Seconds(), 1)
	}
	if free < leastFree+3*int64(share*float64(d.source.Health().Bytes)) {
		return ErrFull
	}
	return nil
}

func (d *Desk) write(ctx context.Context, w trend.Window, detail history.Detail) (b *Bundle, err error) {
	file, err := os.CreateTemp(d.dir, "*.zip")
	if err != nil {
		return nil, fmt.Errorf("make bundle: %w", err)
	}
	b = &Bundle{path: file.Name(), Made: time.Now()}
	defer func() {
		if err = errors.Join(err, file.Close()); err != nil {
			_ = os.Remove(b.path) // the error says enough
			b = nil
		}
	}()
	sum := sha256.New()
	if b.Bundled, err = d.source.Bundle(ctx, io.MultiWriter(file, sum), w.From, w.To, detail, MostBytes); err != nil {
		return b, err
	}
	b.ID = hex.EncodeToString(sum.Sum(nil))
	b.used = time.Now()
	return b, nil
}

// Dir is where a desk beside a history keeps its bundles.
func Dir(historyDir string) string { return filepath.Join(historyDir, "bundles") }
