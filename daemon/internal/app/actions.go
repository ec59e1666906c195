package app

import (
	"context"
	"errors"
	"log/slog"
	"strings"
	"time"

	"fluewright/analysis"
	"fluewright/analysis/alarm"
	"fluewright/analysis/notice"
	"fluewright/daemon/internal/command"
	"fluewright/daemon/internal/history"
)

// actions is what a person may do from a page or from elsewhere. All of it is entries in
// the records of monitor and analysis; nothing reaches the furnace.
type actions struct {
	order func(context.Context, func(*analysis.Engine) error) error
	store *history.Store // nil where no history is kept
	taken *takers
	log   *slog.Logger
}

// Acknowledge takes one occurrence in the name of by, at the loop's next tick. What is
// refused is a *command.Refusal.
func (a *actions) Acknowledge(ctx context.Context, by string, key alarm.Key, occurrence uint32) error {
	ctx, cancel := context.WithTimeout(ctx, orderTime)
	defer cancel()
	err := a.order(ctx, func(e *analysis.Engine) error { return e.Acknowledge(key, occurrence) })
	switch {
	case errors.Is(err, alarm.ErrNoSuchAlarm):
		return command.Refuse(command.Nothing, "this site has no alarm %s", key)
	case errors.Is(err, alarm.ErrOtherOccurrence):
		return command.Refuse(command.Stale, "that is not the latest occurrence of %s: look at alarm/%s and acknowledge what stands there", key, key)
	case err != nil:
		return err
	}
	a.taken.note(by, key, occurrence)
	a.log.Info("an alarm was acknowledged", "alarm", key.String(), "occurrence", occurrence, "by", by)
	return nil
}

// Taker says who has taken an occurrence, and when; ok is false where that is not known.
func (a *actions) Taker(k alarm.Key, occurrence uint32) (by string, at time.Time, ok bool) {
	return a.taken.Taker(k, occurrence)
}

// Note puts an entry into the history's logs, and tells the engine what it can use of it.
// What is refused is a *command.Refusal.
func (a *actions) Note(ctx context.Context, by string, e command.Entry) error {
	if a.store == nil {
		return command.Refuse(command.Nothing, "this monitor keeps no history")
	}
	if err := e.Check(); err != nil {
		return command.Refuse(command.Malformed, "%v", err)
	}
	ctx, cancel := context.WithTimeout(ctx, orderTime)
	defer cancel()
	err := a.order(ctx, func(engine *analysis.Engine) error {
		switch {
		case e.Moisture != nil:
			engine.Fuel(*e.Moisture)
		case e.Kind == "sweeping":
			engine.Done(notice.Flue)
		case e.Kind == "ash":
			engine.Done(notice.Ash)
		case e.Kind == "probes":
			engine.Done(notice.Probes)
		}
		return nil
	})
	if err != nil {
		return err
	}
	switch e.Kind {
	case "fuel", "moisture":
		a.store.Fuel(history.Fuel{
			Author: by, Wood: e.Wood, Note: e.Text,
			Kilograms: command.Number(e.Kilograms), Moisture: command.Number(e.Moisture),
		})
	case "sweeping", "ash", "filter", "probes", "gasket", "inspection":
		a.store.Note(by, strings.TrimSuffix(e.Kind+": "+e.Text, ": "))
	default:
		a.store.Note(by, e.Text)
	}
	return nil
}
