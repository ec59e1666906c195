package history

import (
	"encoding/json"
	"math"
	"strings"
	"time"

	"fluewright/analysis"
	"fluewright/analysis/alarm"
	"fluewright/analysis/burn"
	"fluewright/analysis/frame"
	"fluewright/analysis/notice"
	"fluewright/daemon/internal/message"
	"fluewright/daemon/internal/status"
)

// event is a row to come in one of the event tables.
type event struct {
	table   string
	no      int64 // counts the run's events
	ms      int64
	seen    int64
	trusted bool
	values  []any // of the table's own columns
}

// insertEvent holds the statement of each table. An event that is there already is the
// same one: it was written by a commit whose success was not reported. Columns are named: a
// later version may have added some.
var insertEvent = func() map[string]string {
	all := map[string]string{}
	for table, own := range eventColumns {
		all[table] = insertInto(table, append([]string{"id", "ms", "seen_ms", "trusted"}, own...))
	}
	return all
}()

// eventColumns are the names of each table's own columns, as the file has them.
var eventColumns = func() map[string][]string {
	all := map[string][]string{}
	for _, t := range eventTables {
		for column := range strings.SplitSeq(t.columns, ",") {
			all[t.name] = append(all[t.name], strings.Fields(column)[0])
		}
	}
	return all
}()

func insertInto(table string, columns []string) string {
	return "INSERT OR REPLACE INTO " + table + "(" + strings.Join(columns, ", ") + ") VALUES (?" + strings.Repeat(", ?", len(columns)-1) + ")"
}

// changes name what happened to an alarm. The first two are not kept.
var changes = map[alarm.Change]string{
	alarm.WasRaised: "raised", alarm.WasCleared: "cleared", alarm.WasAcknowledged: "acknowledged",
	alarm.WasShelved: "shelved", alarm.WasUnshelved: "unshelved", alarm.WasSuppressed: "suppressed",
	alarm.WasUpdated: "updated",
}

// eventOf turns what the analysis tells into a row; ok is false for what is not kept.
func eventOf(e analysis.Event, s *status.Status, u message.Units) (ev event, ok bool) {
	switch e.Kind {
	case analysis.AlarmChanged:
		change := changes[e.Change]
		if change == "" {
			return event{}, false
		}
		ev.table, ev.values = "alarms", alarmRow(e, change, s, u)
	case analysis.NoticeGiven:
		d, _ := notice.Declared(e.Notice.Name, e.Notice.Job)
		ev.table, ev.values = "notices", []any{string(e.Notice.Name), e.Notice.Job.String(), e.Notice.For.Seconds(), d.Title}
	case analysis.BurnEnded:
		ev.table, ev.values = "burns", burnRow(&e.Burn)
	case analysis.PhaseChanged:
		ev.table, ev.values = "phases", []any{e.To.String(), e.From.String()}
	case analysis.Reloaded:
		l := e.Load
		ev.table = "loads"
		ev.values = []any{l.At.Milliseconds(), l.Cold, l.Door, l.Coals.Seconds(), number(l.Flue), number(l.Chamber), number(l.Firebox)}
	case analysis.DoorOpened, analysis.DoorClosed:
		ev.table, ev.values = "doors", []any{e.Kind == analysis.DoorOpened, e.Door.At.Milliseconds()}
	default:
		return event{}, false
	}
	ev.ms, ev.seen, ev.trusted = e.At.Milliseconds(), s.WallOf(e.At).UnixMilli(), s.ClockTrusted
	return ev, true
}

func alarmRow(e analysis.Event, change string, s *status.Status, u message.Units) []any {
	a := e.Alarm
	var channel, causes, expected any
	if a.Key.Channel < frame.Count {
		channel = a.Key.Channel.String()
	}
	if lines := message.Causes(e.Account.Causes, s.WallOf, u); lines != nil {
		if b, err := json.Marshal(lines); err == nil {
			causes = string(b)
		}
	}
	if e.Account.Passes {
		expected = e.Account.ExpectedAt.Milliseconds()
	}
	text, action := message.Alarm(a, e.Account, s.WallOf, u)
	return []any{
		string(a.Key.Name), channel, change, a.State.String(), a.Priority.String(), a.Occurrence,
		a.Acknowledged, a.First, number(a.Value), number(a.Limit), a.Fault, text, action, causes, expected,
	}
}

func burnRow(b *burn.Summary) []any {
	in := func(p burn.Phase) float64 { return b.In[p].Seconds() }
	return []any{
		b.Kind.String(), b.Start.Milliseconds(), b.End.Milliseconds(), number(b.PeakFlue), number(b.PeakChamber),
		number(b.MeanDraft), number(b.Draft.Least), number(b.Draft.Most), b.Loads, b.Doors,
		in(burn.Lighting), in(burn.WarmUp), in(burn.CleanBurn), in(burn.Smoulder), in(burn.Coals), in(burn.Unknown),
		b.Draft.Below.Seconds(), b.Draft.Above.Seconds(), number(b.Creosote.Water), number(b.Creosote.Tar), number(b.Delivered.Heat),
	}
}

// number is NULL for what is none.
func number(v float64) any {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return nil
	}
	return v
}

// Note keeps what a person has to say.
func (s *Store) Note(author, note string) { s.add("notes", author, note) }

// Fuel is an entry of the fuel log. Kilograms and Moisture (a share of the wet mass) are
// NaN where nobody measured them.
type Fuel struct {
	Author, Wood, Note  string
	Kilograms, Moisture float64
}

// Fuel keeps an entry of the fuel log.
func (s *Store) Fuel(f Fuel) {
	s.add("fuel", f.Author, f.Wood, number(f.Kilograms), number(f.Moisture), f.Note)
}

// Calibration keeps that a channel was zeroed or calibrated; entry is JSON.
func (s *Store) Calibration(channel, method string, entry []byte) {
	s.add("calibrations", channel, method, string(entry))
}

// Commissioning keeps a report, JSON.
func (s *Store) Commissioning(report []byte) { s.add("commissionings", string(report)) }

// add keeps an event that happens now, as far as the ticks tell. It is on its way to the
// file at once; see Commit.
func (s *Store) add(table string, values ...any) {
	s.mu.Lock()
	s.seq++
	s.mem.addEvent(event{table: table, ms: s.now.ms, seen: s.now.wall, trusted: s.now.trusted, values: values})
	s.mu.Unlock()
	s.kick()
}

// say keeps a notice of the history itself.
func (s *Store) say(name, text string, lasted time.Duration) {
	s.add("notices", name, notice.NoJob.String(), lasted.Seconds(), text)
}
