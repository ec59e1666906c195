package api

import (
	"context"
	"errors"
	"net/http"
	"time"

	"fluewright/analysis/alarm"
	"fluewright/daemon/internal/access"
	"fluewright/daemon/internal/command"
	"fluewright/daemon/internal/standing"
	"fluewright/daemon/internal/status"
	"fluewright/daemon/internal/trend"
)

// Alarm is one alarm as it stands, and who has taken it, as far as that is known.
type Alarm struct {
	standing.Alarm
	By string     `json:"acknowledged_by,omitempty"`
	At *time.Time `json:"acknowledged_at,omitempty"`
}

// Alarms is how the alarms are now.
type Alarms struct {
	Moment
	// Standing are those that stand, the one to act on first at the front. An empty list
	// says that all is well only together with the verdict "well" of the state.
	Standing []Alarm `json:"standing"`
	// Watched are all others, among them those that are over and nobody has acknowledged,
	// and those that cannot be judged.
	Watched []Alarm `json:"watched"`
	// Figures count since the program began.
	Figures      standing.Figures    `json:"figures"`
	Declarations []standing.Declared `json:"declarations"`
}

// AlarmHistory is part of the log of alarms.
type AlarmHistory struct {
	trend.AlarmPage
	// Statistics are those of the last 30 days; null on all pages but the newest.
	Statistics *trend.AlarmStats `json:"statistics"`
}

// statisticsOver is their window.
const statisticsOver = 30 * 24 * time.Hour

// alarms answers /api/v1/alarms with [Alarms].
func (a *API) alarms(w http.ResponseWriter, r *http.Request) {
	s, silence, ok := a.now(w, r)
	if !ok {
		return
	}
	stand, rest := standing.Now(s, a.o.Verdict, a.o.Site.Config.Site.Units, silence)
	a.answer(w, r, Alarms{
		Moment: momentOf(s, silence), Standing: a.taken(stand), Watched: a.taken(rest),
		Figures: standing.FiguresOf(s), Declarations: standing.Declarations(a.o.Site.Config.Analysis.Timing),
	})
}

func (a *API) taken(all []standing.Alarm) []Alarm {
	out := make([]Alarm, 0, len(all))
	for i := range all {
		one := Alarm{Alarm: all[i]}
		if a.o.Actions != nil && one.Acknowledged {
			if by, at, ok := a.o.Actions.Taker(one.Key, one.Occurrence); ok {
				one.By, one.At = by, known(at)
			}
		}
		out = append(out, one)
	}
	return out
}

// alarmHistory answers /api/v1/alarms/history?limit=&before= with an [AlarmHistory].
func (a *API) alarmHistory(w http.ResponseWriter, r *http.Request) {
	a.page(w, r, func(ctx context.Context, before int64, limit int) (any, error) {
		page, err := trend.AlarmLog(ctx, a.o.Kept, before, limit)
		all := AlarmHistory{AlarmPage: page}
		if err != nil || before != 0 {
			return all, err
		}
		to := a.wall().UTC()
		stats, err := trend.StatsOfAlarms(ctx, a.o.Kept, trend.Window{From: to.Add(-statisticsOver), To: to})
		all.Statistics = &stats
		return all, err
	})
}

const (
	// actWithin is how long the loop may take to get to what is asked for, and showWithin
	// how long the answer waits for the tick that shows it: together less than an answer may
	// take.
	actWithin  = 6 * time.Second
	showWithin = 2 * time.Second
)

// acknowledge takes one occurrence of an alarm in the name of whoever asks. Nothing but the
// records of monitor and analysis changes.
func (a *API) acknowledge(w http.ResponseWriter, r *http.Request) {
	var o command.Occurrence
	if !a.take(w, r, &o, o.Check) {
		return
	}
	ctx, cancel := context.WithTimeout(r.Context(), actWithin)
	defer cancel()
	err := a.o.Actions.Acknowledge(ctx, access.Of(r.Context()).Name, o.Key(), o.Occurrence)
	if a.refused(w, r, err) {
		return
	}
	a.shown(r.Context(), o.Key(), o.Occurrence)
	w.WriteHeader(http.StatusNoContent)
}

// shown waits until a tick shows that the occurrence was taken, so that whoever asks next
// sees it too.
func (a *API) shown(ctx context.Context, k alarm.Key, occurrence uint32) {
	ctx, cancel := context.WithTimeout(ctx, showWithin)
	defer cancel()
	for s := range a.o.Feed.Subscribe(ctx) {
		if shows(s, k, occurrence) {
			return
		}
	}
}

func shows(s *status.Status, k alarm.Key, occurrence uint32) bool {
	for _, one := range s.Assessment.Alarms {
		if one.Key == k {
			return one.Acknowledged || one.Occurrence != occurrence
		}
	}
	return false
}

// refused answers where something was not carried out.
func (a *API) refused(w http.ResponseWriter, r *http.Request, err error) bool {
	var why *command.Refusal
	switch {
	case err == nil:
		return false
	case !errors.As(err, &why):
		a.o.Log.Warn("a request was not carried out", "path", r.URL.Path, "error", err)
		w.Header().Set("Retry-After", "5")
		Refuse(w, http.StatusServiceUnavailable, "The monitor did not answer in time. Whether it was done is not known: look, and ask again.")
	case why.Reason == command.Stale:
		Refuse(w, http.StatusConflict, "That is not the latest occurrence of the alarm: look at /api/v1/alarms, and acknowledge what stands there.")
	case why.Reason == command.Nothing:
		Refuse(w, http.StatusNotFound, why.Words+".")
	default:
		Refuse(w, http.StatusUnprocessableEntity, why.Words+".")
	}
	return true
}
