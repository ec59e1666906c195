package app

import (
	"context"
	"fmt"
	"log/slog"
	"sync"
	"time"

	"fluewright/analysis/alarm"
	"fluewright/daemon/internal/history"
)

// The history is asked again for as long as it may take to be opened: until then it knows
// only of this run.
const (
	takenEvery = time.Second
	takenTries = 60
)

// takers remembers who has taken the latest occurrence of each alarm. The annunciator keeps
// that it was taken and not by whom: the history does, over restarts.
type takers struct {
	store *history.Store // nil where no history is kept
	wall  func() time.Time
	// restored are the alarms as an earlier run left them.
	restored []alarm.Status
	log      *slog.Logger

	mu   sync.Mutex
	last map[alarm.Key]taking
}

type taking struct {
	occurrence uint32
	by         string
	at         time.Time // wall clock
}

// note keeps who has taken an occurrence. The first who did has.
func (t *takers) note(by string, k alarm.Key, occurrence uint32) {
	if !t.keep(k, taking{occurrence, by, t.wall()}) {
		return
	}
	if t.store != nil {
		t.store.Note(by, takenNote(k, occurrence))
	}
}

func (t *takers) keep(k alarm.Key, new taking) bool {
	t.mu.Lock()
	defer t.mu.Unlock()
	if old, ok := t.last[k]; ok && old.occurrence == new.occurrence {
		return false
	}
	if t.last == nil {
		t.last = make(map[alarm.Key]taking)
	}
	t.last[k] = new
	return true
}

// Taker says who has taken an occurrence, and when; ok is false where that is not known.
func (t *takers) Taker(k alarm.Key, occurrence uint32) (by string, at time.Time, ok bool) {
	t.mu.Lock()
	defer t.mu.Unlock()
	last := t.last[k]
	if last.occurrence != occurrence {
		return "", time.Time{}, false
	}
	return last.by, last.at, true
}

// takenNote is the entry of the history's log.
func takenNote(k alarm.Key, occurrence uint32) string {
	return fmt.Sprintf("acknowledged %s, occurrence %d", k, occurrence)
}

// run finds out who has taken what an earlier run left acknowledged, as soon as the history
// can be read. Only that is looked for: without their memory the alarms count from 1 again.
func (t *takers) run(ctx context.Context) error {
	wanted := make(map[string]alarm.Status)
	for _, s := range t.restored {
		if s.Acknowledged {
			wanted[takenNote(s.Key, s.Occurrence)] = s
		}
	}
	if t.store == nil || len(wanted) == 0 {
		return nil
	}
	for range takenTries {
		notes, err := t.store.Events(ctx, "notes", time.UnixMilli(0), t.wall().Add(24*time.Hour))
		if err != nil {
			t.log.Debug("who has taken the alarms of the last run cannot be read yet", "error", err)
		}
		for _, n := range notes {
			text, _ := n.Fields["note"].(string)
			by, _ := n.Fields["author"].(string)
			if s, ok := wanted[text]; ok {
				t.keep(s.Key, taking{s.Occurrence, by, n.At.In(t.wall().Location())})
				delete(wanted, text)
			}
		}
		if len(wanted) == 0 {
			break
		}
		select {
		case <-ctx.Done():
			return nil
		case <-time.After(takenEvery):
		}
	}
	return nil
}
