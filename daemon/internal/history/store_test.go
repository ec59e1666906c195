package history_test

import (
	"context"
	"math"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"fluewright/analysis"
	"fluewright/analysis/alarm"
	"fluewright/analysis/burn"
	"fluewright/analysis/cause"
	"fluewright/analysis/frame"
	"fluewright/analysis/notice"
	"fluewright/daemon/internal/history"
)

// Every row comes back once, at its time, whether it is in memory, in the tail or in chunks,
// and after the program has ended and begun again.
func TestRowsComeBack(t *testing.T) {
	dir := t.TempDir()
	s := begin(t, options(dir))
	check := func(when string, got []history.Row, n int) {
		t.Helper()
		if len(got) != n {
			t.Fatalf("%s: %d rows, want %d", when, len(got), n)
		}
		for i, r := range got {
			at := time.Duration(i) * time.Second
			want := s.values(at)
			if !r.At.Equal(noon.Add(at)) || !r.Sure || math.Abs(r.Values[frame.Flue]-want[frame.Flue]) > 1./16 || math.Abs(r.Values[frame.Draft]-want[frame.Draft]) > 0.051 {
				t.Fatalf("%s: row %d is %+v, want %v", when, i, r, want)
			}
			if !math.IsNaN(r.Values[frame.Chamber]) || r.Quality[frame.Chamber] != frame.Absent || r.Quality[frame.Flue] != frame.Good {
				t.Fatalf("%s: row %d is %+v", when, i, r)
			}
		}
	}
	s.ticks(0, 100*time.Second)
	check("memory", s.rows(), 99) // the last second is not over
	s.commit()
	check("tail", s.rows(), 99)
	s.ticks(100*time.Second, 2000*time.Second)
	s.commit()
	check("chunks", s.rows(), 1999)
	s.close()
	s = begin(t, options(dir))
	s.wall = noon.Add(time.Hour)
	s.tick(0)
	s.commit()
	check("another run", s.rows(), 2000)
}

func TestEventsComeBack(t *testing.T) {
	dir := t.TempDir()
	s := begin(t, options(dir))
	s.tick(0)
	hot := raised(alarm.Overheat, frame.Flue, 3)
	hot.Account = analysis.Account{Causes: []cause.Cause{{Code: cause.DraftHigh, Weight: 0.8}}, Passes: true, ExpectedAt: 5 * time.Minute}
	known := raised(alarm.DraftLow, frame.Count, 0)
	known.Change = alarm.BecameKnown
	s.tick(time.Minute, hot, known)
	cleared := hot
	cleared.Change, cleared.Alarm.State = alarm.WasCleared, alarm.Returned
	s.tick(2*time.Minute, cleared,
		analysis.Event{Kind: analysis.NoticeGiven, Notice: notice.Notice{Name: notice.Smoulder, For: time.Hour}},
		analysis.Event{Kind: analysis.PhaseChanged, From: burn.CleanBurn, To: burn.Coals},
		analysis.Event{Kind: analysis.Reloaded, Load: burn.Load{At: time.Minute, Flue: 200, Chamber: math.NaN(), Firebox: 300}},
		analysis.Event{Kind: analysis.DoorOpened, Door: burn.Door{Open: true, At: time.Minute}},
		analysis.Event{Kind: analysis.BurnEnded, Burn: burn.Summary{End: 2 * time.Minute, PeakFlue: 555, PeakChamber: math.NaN(), MeanDraft: math.NaN()}},
	)
	s.Note("installer", "new gasket")
	s.Fuel(history.Fuel{Author: "owner", Wood: "beech", Kilograms: 12, Moisture: math.NaN()})
	s.Calibration("draft", "zero", []byte(`{"offset":0.4}`))
	s.Commissioning([]byte(`{"passed":true}`))

	ctx := context.Background()
	alarms, err := s.Events(ctx, "alarms", noon, noon.Add(time.Hour))
	if err != nil || len(alarms) != 2 {
		t.Fatalf("%v, %v", alarms, err)
	}
	a := alarms[0]
	if a.Fields["alarm"] != "overheat" || a.Fields["channel"] != "flue" || a.Fields["change"] != "raised" || a.Fields["occurrence"] != int64(3) ||
		!a.At.Equal(noon.Add(time.Minute)) || !a.Trusted || !a.Seen.Equal(a.At) {
		t.Errorf("%+v", a)
	}
	if at := a.Moment(a.Fields["expected_ms"].(int64)); !at.Equal(noon.Add(5 * time.Minute)) {
		t.Errorf("expected at %v", at)
	}
	if text := a.Fields["causes"].(string); !strings.Contains(text, `"code":"draft-high","weight":0.8`) {
		t.Error(text)
	}
	if some, err := s.Events(ctx, "alarms", noon.Add(90*time.Second), noon.Add(time.Hour)); err != nil || len(some) != 1 {
		t.Errorf("%v, %v", some, err)
	}
	if _, err := s.Events(ctx, "sqlite_schema", noon, noon); err == nil {
		t.Error("read a table that is none of events")
	}
	s.close()

	for sql, want := range map[string]string{
		`SELECT time, alarm, channel, state, message, expected FROM alarm_log WHERE change = 'raised'`: "2026-11-25T12:01:00.000Z|overheat|flue|raised|flue: too hot (555 °C, limit 538 °C)|2026-11-25T12:05:00.000Z",
		`SELECT time, notice, lasted_s FROM notice_log`:                                                "2026-11-25T12:02:00.000Z|smoulder|3600.0",
		`SELECT start, "end", peak_flue_celsius, peak_chamber_celsius IS NULL FROM burn_log`:           "2026-11-25T12:00:00.000Z|2026-11-25T12:02:00.000Z|555.0|1",
		`SELECT phase, before FROM phase_log`:                                                          "coals|clean-burn",
		`SELECT laid, flue_celsius FROM load_log`:                                                      "2026-11-25T12:01:00.000Z|200.0",
		`SELECT open, opened, time_sure FROM door_log`:                                                 "1|2026-11-25T12:01:00.000Z|1",
		`SELECT author, note FROM note_log`:                                                            "installer|new gasket",
		`SELECT wood, kilograms, moisture IS NULL FROM fuel_log`:                                       "beech|12.0|1",
		`SELECT channel, entry FROM calibration_log`:                                                   `draft|{"offset":0.4}`,
		`SELECT report FROM commissioning_log`:                                                         `{"passed":true}`,
		`SELECT time, ended, software, configuration FROM boot_log`:                                    "2026-11-25T12:00:00.000Z|2026-11-25T12:02:01.000Z|1.0|[site]",
		`SELECT time, flue_n, flue_good, flue_min, flue_max, draft_n, chamber_n FROM trend_1min`:       "2026-11-25T12:00:00.000Z|1|1.0|250.0|250.0|1|0\n2026-11-25T12:01:00.000Z|1|1.0|250.75|250.75|1|0\n2026-11-25T12:02:00.000Z|1|1.0|251.75|251.75|1|0",
		`SELECT time, flue_n, flue_good, flue_min, flue_mean, flue_max FROM trend_15min`:               "2026-11-25T12:00:00.000Z|3|1.0|250.0|250.875|251.75",
		`PRAGMA integrity_check`:                                                                       "ok",
	} {
		if got := query(t, dir, sql); got != want {
			t.Errorf("%s\ngot  %s\nwant %s", sql, got, want)
		}
	}
}

func TestSlotsAreMeans(t *testing.T) {
	o := options(t.TempDir())
	o.Period = time.Second
	s := begin(t, o)
	for i := range 25 {
		at := time.Duration(i) * 100 * time.Millisecond
		st := s.status(at)
		st.Frame.Inputs[frame.Flue].Value = float64(100 + i%10)
		if i == 13 {
			st.Frame.Inputs[frame.Draft] = frame.Input{Quality: frame.Faulty}
		}
		if i >= 20 {
			st.Frame.Inputs[frame.Flue] = frame.Input{Quality: frame.Stale}
			st.Frame.Inputs[frame.Draft] = frame.Input{Value: math.Inf(1), Quality: frame.Good}
		}
		s.Offer(st)
	}
	s.tick(3 * time.Second)
	got := s.rows()
	if len(got) != 3 {
		t.Fatalf("%d rows", len(got))
	}
	s.close()
	if got := query(t, o.Dir, "SELECT flue_n, flue_good, draft_n, round(draft_good, 3), chamber_n, chamber_good FROM trend_15min"); got != "3|1.0|3|0.667|0|" {
		t.Error(got)
	}
	if v := got[0].Values[frame.Flue]; v != 104.5 {
		t.Errorf("mean of ten ticks is %g", v)
	}
	if q := got[1].Quality; q[frame.Draft] != frame.Suspect || q[frame.Flue] != frame.Good {
		t.Errorf("a second with a fault in it has %v", q)
	}
	if q := got[2].Quality; q[frame.Flue] != frame.Stale || q[frame.Draft] != frame.Stale || !math.IsNaN(got[2].Values[frame.Draft]) {
		t.Errorf("a second without readings has %v", q)
	}
}

// Time that stands or goes backwards is no time; an alarm in it is one.
func TestTimeBackwards(t *testing.T) {
	s := begin(t, options(t.TempDir()))
	s.ticks(0, 10*time.Second)
	s.tick(3*time.Second, raised(alarm.Spillage, frame.Count, 1))
	s.tick(-time.Second)
	s.ticks(10*time.Second, 12*time.Second)
	s.commit()
	if n := len(s.rows()); n != 11 {
		t.Errorf("%d rows", n)
	}
	if all, err := s.Events(t.Context(), "alarms", noon, noon.Add(time.Hour)); err != nil || len(all) != 1 {
		t.Errorf("%v, %v", all, err)
	}
	if n := s.Health().Backwards; n != 2 {
		t.Errorf("%d ticks were told of", n)
	}
}

// What a run left in the tail when it was cut off is in chunks and sums after the next.
func TestTailIsTakenOver(t *testing.T) {
	s := begin(t, options(t.TempDir()))
	s.ticks(0, 700*time.Second)
	s.commit()
	dir := s.cutOff()
	s = begin(t, options(dir))
	s.wall = noon.Add(time.Hour)
	s.tick(0)
	s.commit()
	if n := len(s.rows()); n != 699 {
		t.Errorf("%d rows", n)
	}
	s.close()
	if got := query(t, dir, "SELECT count(*), sum(flue_n) FROM trend_1min WHERE boot = 1"); got != "12|699" {
		t.Error(got)
	}
	if got := query(t, dir, "SELECT count(*) FROM tail"); got != "0" {
		t.Error(got, "tail rows")
	}
	if got := query(t, dir, "SELECT ended FROM boot_log WHERE boot = 1"); got != "2026-11-25T12:11:38.001Z" {
		t.Error(got)
	}
}

// How often the file is written follows what goes on.
func TestCommitsFollowTheFire(t *testing.T) {
	high := []alarm.Status{{Key: alarm.Key{Name: alarm.Spillage, Channel: frame.Count}, Priority: alarm.High, State: alarm.Raised}}
	for name, tt := range map[string]struct {
		phase  burn.Phase
		alarms []alarm.Status
		most   int // rows in memory alone
	}{
		"no fire":    {burn.Cold, nil, 601},
		"fire":       {burn.CleanBurn, nil, 61},
		"not known":  {burn.Unknown, nil, 61},
		"high alarm": {burn.Cold, high, 3},
	} {
		t.Run(name, func(t *testing.T) {
			s := begin(t, options(t.TempDir()))
			s.stop()
			s.phase, s.alarms = tt.phase, tt.alarms
			most := 0
			for at := time.Duration(0); at < 1300*time.Second; at += time.Second {
				s.tick(at)
				most = max(most, s.Health().Pending)
				s.Turn()
			}
			if most > tt.most || most < tt.most-2 {
				t.Errorf("up to %d rows were in memory alone, want %d", most, tt.most)
			}
		})
	}
}

// A shared-memory file would be written back to the card for ever.
func TestNoSharedMemoryFile(t *testing.T) {
	dir := t.TempDir()
	for range 2 {
		s := begin(t, options(dir))
		s.tick(0)
		s.commit()
		if names, err := filepath.Glob(filepath.Join(dir, "*")); err != nil || len(names) != 2 {
			t.Errorf("%v, %v", names, err)
		}
		dir = s.cutOff() // a file with its journal, as after a crash
	}
}
