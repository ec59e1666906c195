package mqtt

import (
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"

	"fluewright/daemon/internal/atomicfile"
	"fluewright/daemon/internal/history"
)

// progressFile is where it is kept how far the broker has come.
const progressFile = "mqtt-outbox.json"

// mostAhead bounds how many stretches are remembered; the oldest beyond it are sent again.
const mostAhead = 16

// progress is what the broker has acknowledged of the history.
type progress struct {
	// Events and Rows are the positions up to which it has everything.
	Events history.EventPosition `json:"events"`
	Rows   history.Position      `json:"rows"`
	// Ahead are stretches behind Rows that it has too: what was new went first.
	Ahead []stretch `json:"ahead,omitempty"`
}

// stretch is a part of a run, ms on its clock, To excluded.
type stretch struct {
	Identity string `json:"identity"`
	From     int64  `json:"from"`
	To       int64  `json:"to"`
}

// loadProgress reads it. Without any it is at the beginning of the run.
func loadProgress(dir, identity string) (p progress, fresh bool, err error) {
	p = progress{Events: history.EventPosition{Identity: identity, No: -1}, Rows: history.Position{Identity: identity, MS: -1}}
	if dir == "" {
		return p, false, nil
	}
	data, err := os.ReadFile(filepath.Join(dir, progressFile))
	if errors.Is(err, fs.ErrNotExist) {
		return p, true, nil
	}
	if err == nil {
		var found progress
		if found, err = decodeProgress(data); err == nil {
			return found, false, nil
		}
	}
	return p, true, fmt.Errorf("read how far the broker has come: %w", err)
}

// decodeProgress refuses what the history's numbers cannot be.
func decodeProgress(data []byte) (p progress, err error) {
	if err := json.Unmarshal(data, &p); err != nil {
		return progress{}, err
	}
	bad := p.Events.Identity == "" || p.Rows.Identity == "" || p.Events.No < -1 || p.Events.No >= 1<<40 || p.Rows.MS < -1 || p.Rows.MS >= 1<<40 ||
		p.Events.Run < 0 || p.Events.Run >= 1<<22 || p.Rows.Run < 0 || p.Rows.Run >= 1<<22 || len(p.Ahead) > mostAhead
	for _, a := range p.Ahead {
		bad = bad || a.From < 0 || a.To <= a.From || a.To >= 1<<40
	}
	if bad {
		return progress{}, errors.New("its numbers are impossible")
	}
	return p, nil
}

func (p *progress) save(dir string) error {
	data, err := json.Marshal(p)
	if err != nil {
		return err
	}
	if err := atomicfile.Write(dir, progressFile, data); err != nil {
		return fmt.Errorf("keep how far the broker has come: %w", err)
	}
	return nil
}

// took notes that the broker has a stretch.
func (p *progress) took(s stretch) {
	p.Ahead = append(p.Ahead, s)
	p.settle()
	if n := len(p.Ahead) - mostAhead; n > 0 {
		p.Ahead = slices.Delete(p.Ahead, 0, n)
	}
}

// reach moves Rows on, over what the broker has already.
func (p *progress) reach(to history.Position) {
	p.Rows = to
	p.settle()
}

// settle joins what meets. What lies in a run before that of Rows is behind it.
func (p *progress) settle() {
	for i := 0; i < len(p.Ahead); {
		a := p.Ahead[i]
		if a.Identity == p.Rows.Identity && a.From <= p.Rows.MS+1 {
			p.Rows.MS = max(p.Rows.MS, a.To-1)
			p.Ahead = slices.Delete(p.Ahead, i, i+1)
			i = 0
			continue
		}
		if i > 0 {
			if before := &p.Ahead[i-1]; before.Identity == a.Identity && before.To == a.From {
				before.To = a.To
				p.Ahead = slices.Delete(p.Ahead, i, i+1)
				continue
			}
		}
		i++
	}
}

// has reports whether the broker has a row that is behind Rows.
func (p *progress) has(at history.Position) bool {
	return slices.ContainsFunc(p.Ahead, func(a stretch) bool {
		return a.Identity == at.Identity && a.From <= at.MS && at.MS < a.To
	})
}
