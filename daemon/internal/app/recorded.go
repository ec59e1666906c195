package app

import (
	"sync/atomic"

	"fluewright/analysis/notice"
	"fluewright/daemon/internal/history"
	"fluewright/daemon/internal/status"
	"fluewright/daemon/internal/web/equipment"
	"fluewright/daemon/internal/web/records"
)

// recorded gathers what the pages need that show what is on record, and what the monitor consists
// of. The analysis's count of upkeep is copied at each tick: the engine is the loop's alone.
func (h *house) recorded(l *loop, store *history.Store, a *actions) {
	var count atomic.Pointer[notice.Upkeep]
	l.after = append(l.after, func(*status.Status) {
		u := l.engine.Upkeep()
		count.Store(&u)
	})
	r := records.Options{
		Actions: a,
		Taker:   a.taken.Taker,
		Upkeep: func() (u notice.Upkeep, ok bool) {
			if p := count.Load(); p != nil {
				return *p, true
			}
			return u, false
		},
	}
	e := equipment.Options{Configuration: h.options.Configuration}
	if store != nil {
		r.Log, e.Rows, e.Health, e.Span = store, store, store.Health, store.Span
	}
	h.records, h.equipment = r, e
}
