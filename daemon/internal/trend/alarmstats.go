package trend

import (
	"cmp"
	"context"
	"slices"
	"time"

	"fluewright/daemon/internal/history"
)

// What the figures of alarms count by, as in [alarm.Metrics]: a flood is more than 10 alarms
// in 10 min (ISA-18.2, by a secondary source) until there are fewer than 5; an alarm chatters that is raised three times
// within a minute, and is stale when it stands for more than a day (ISA-TR18.2.5 and EEMUA
// 191, both from memory).
const (
	floodSpan   = 10 * time.Minute
	floodAbove  = 10
	floodBelow  = 5
	chatters    = 3
	chatterSpan = time.Minute
	staleAfter  = 24 * time.Hour
)

// AlarmStats tells how alarms did as alarms in a window, after IEC 62682.
type AlarmStats struct {
	From time.Time `json:"from"`
	To   time.Time `json:"to"`
	// Partial says that there were more changes than are read: the window begins later.
	Partial bool `json:"partial"`
	Raised  int  `json:"raised"`
	// PerDay and PerHour are the mean rates over the window; null where it is shorter than
	// a day or an hour.
	PerDay  *float64 `json:"raised_per_day"`
	PerHour *float64 `json:"raised_per_hour"`
	// Most is the most raised within 10 min, and Floods how often there were more than 10.
	Most   int `json:"most_in_10_minutes"`
	Floods int `json:"floods"`
	// ByPriority counts raisings: "high", "medium", "low".
	ByPriority map[string]int `json:"raised_by_priority"`
	// Acknowledged counts those that somebody took, and MedianResponse is how long that took.
	Acknowledged   int      `json:"acknowledged"`
	MedianResponse *float64 `json:"median_response_seconds"`
	// Stale counts those that stood for more than a day.
	Stale int `json:"stale"`
	// Alarms are the figures of each alarm that was raised, the most frequent first.
	Alarms []AlarmFigures `json:"alarms"`
}

// AlarmFigures are those of one alarm, "name" or "name/channel".
type AlarmFigures struct {
	Alarm  string `json:"alarm"`
	Raised int    `json:"raised"`
	// Stood is how long it stood in all, and Longest at once.
	Stood   float64 `json:"stood_seconds"`
	Longest float64 `json:"longest_seconds"`
	// Chattered counts the raisings that were the third within a minute, or a later one.
	Chattered int `json:"chattered"`
}

// StatsOfAlarms counts what was raised in a window, from the newest back.
func StatsOfAlarms(ctx context.Context, l Log, w Window) (AlarmStats, error) {
	s := AlarmStats{From: w.From, To: w.To, ByPriority: map[string]int{"high": 0, "medium": 0, "low": 0}, Alarms: []AlarmFigures{}}
	if begin, _ := l.Span(); begin.After(s.From) {
		s.From = begin // nothing is known of the time before
	}
	changes, partial, err := changesSince(ctx, l, s.From)
	if err != nil {
		return s, err
	}
	if partial {
		s.Partial, s.From = true, changes[0].At
	}
	var raised []Spell
	for _, spell := range pair(changes) {
		if spell.raise != nil && !spell.From.Before(s.From) && spell.From.Before(w.To) {
			raised = append(raised, spell)
		}
	}
	s.Raised = len(raised)
	rate := func(per time.Duration) *float64 {
		d := s.To.Sub(s.From)
		if d < per {
			return nil
		}
		v := float64(s.Raised) / (d.Seconds() / per.Seconds())
		return &v
	}
	s.PerDay, s.PerHour = rate(24*time.Hour), rate(time.Hour)
	s.count(raised)
	return s, nil
}

// changesSince reads changes from the newest back to a moment, in the order of time; partial
// says that there are too many.
func changesSince(ctx context.Context, l Log, from time.Time) (changes []history.Event, partial bool, err error) {
	defer func() { slices.Reverse(changes) }()
	before := int64(0)
	for {
		some, err := l.Newest(ctx, "alarms", before, piece)
		if err != nil {
			return nil, false, err
		}
		changes = append(changes, some...)
		// A clock that was put right may have moved single events, never whole pieces.
		if len(some) < piece || some[0].At.Before(from) {
			return changes, false, nil
		}
		if len(changes) >= mostChanges {
			return changes, true, nil
		}
		before = some[len(some)-1].ID()
	}
}

func (s *AlarmStats) count(raised []Spell) {
	slices.SortStableFunc(raised, func(a, b Spell) int { return a.From.Compare(b.From) })
	figures := map[string]*AlarmFigures{}
	times := map[string][]time.Time{}
	var responses []float64
	begin, flood := 0, false
	for i := range raised {
		r := &raised[i]
		s.ByPriority[r.Priority.String()]++
		if d := r.Acknowledged.Sub(r.From); !r.Acknowledged.IsZero() {
			responses = append(responses, max(d.Seconds(), 0))
		}
		for raised[begin].From.Before(r.From.Add(-floodSpan)) {
			begin++
		}
		within := i - begin + 1
		s.Most = max(s.Most, within)
		if within > floodAbove && !flood {
			s.Floods++
		}
		flood = within > floodAbove || flood && within >= floodBelow
		f := figures[r.Name]
		if f == nil {
			f = &AlarmFigures{Alarm: r.Name}
			figures[r.Name] = f
		}
		f.Raised++
		times[r.Name] = append(times[r.Name], r.From)
		if t := times[r.Name]; len(t) >= chatters && r.From.Sub(t[len(t)-chatters]) < chatterSpan {
			f.Chattered++
		}
		end := r.To
		if end.IsZero() {
			end = s.To
		}
		d := max(end.Sub(r.From), 0)
		f.Stood += d.Seconds()
		f.Longest = max(f.Longest, d.Seconds())
		if d > staleAfter {
			s.Stale++
		}
	}
	s.Acknowledged = len(responses)
	if n := len(responses); n > 0 {
		slices.Sort(responses)
		m := (responses[(n-1)/2] + responses[n/2]) / 2
		s.MedianResponse = &m
	}
	for _, f := range figures {
		s.Alarms = append(s.Alarms, *f)
	}
	slices.SortFunc(s.Alarms, func(a, b AlarmFigures) int {
		return cmp.Or(cmp.Compare(b.Raised, a.Raised), cmp.Compare(a.Alarm, b.Alarm))
	})
}
