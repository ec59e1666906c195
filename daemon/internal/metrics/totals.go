package metrics

import (
	"sync"
	"time"

	"fluewright/analysis"
	"fluewright/analysis/alarm"
	"fluewright/analysis/burn"
	"fluewright/analysis/frame"
	"fluewright/daemon/internal/status"
	"fluewright/daemon/internal/verdict"
)

// outdoors names the bands of the outdoor temperature, the coldest first; outdoor counts
// from under -10 °C in steps of 10 K. Four bands tell a climate's effect on a chimney; more
// would cost a fleet series.
var outdoors = [...]string{"unknown", "under-minus-10", "minus-10-to-0", "0-to-10", "10-and-over"}

const unknownOutdoor = 0

// outdoorBand returns the band's number in outdoors.
func outdoorBand(in frame.Input) int {
	switch {
	case !verdict.Readable(in):
		return unknownOutdoor
	case in.Value < -10:
		return 1
	case in.Value < 0:
		return 2
	case in.Value < 10:
		return 3
	}
	return 4
}

// longest is how long a tick may be behind the one before for its phase to stand for the
// time in between.
const longest = time.Minute

// Totals counts over ticks what a scrape now and then would miss. A line that was away for
// hours takes nothing from them: they are ahead when it is back.
type Totals struct {
	mu        sync.Mutex
	begun     bool
	at        time.Duration
	phases    [len(phases)]time.Duration
	fire      [len(outdoors)]time.Duration
	spillages [len(outdoors)]uint64
	burns     uint64
}

// phases are those that are counted; burn.Unknown is the first.
var phases = [...]burn.Phase{burn.Unknown, burn.Cold, burn.Lighting, burn.WarmUp, burn.CleanBurn, burn.Smoulder, burn.Coals}

// Take counts a tick. Time that runs backwards is none; that for which there was no tick
// belongs to no phase that anybody saw.
func (t *Totals) Take(s *status.Status) {
	t.mu.Lock()
	defer t.mu.Unlock()
	a := &s.Assessment
	phase := a.Phase
	took := s.Frame.At - t.at
	if a.PhaseHeld || took > longest || int(phase) >= len(phases) {
		phase = burn.Unknown
	}
	outdoor := outdoorBand(s.Frame.Inputs[frame.Outdoor])
	if t.begun && took > 0 {
		t.phases[phase] += took
		if phase.Fire() {
			t.fire[outdoor] += took
		}
	}
	t.begun, t.at = true, s.Frame.At
	for i := range a.Events {
		switch e := &a.Events[i]; {
		case e.Kind == analysis.BurnEnded:
			t.burns++
		case e.Kind == analysis.AlarmChanged && e.Change == alarm.WasRaised && e.Alarm.Key.Name == alarm.Spillage:
			t.spillages[outdoor]++
		}
	}
}

var (
	phaseSeconds = counter("phase_seconds_total", "How long the burn was in the phase since the program began; unknown is time that nobody saw.", "phase")
	burns        = counter("burns_total", "Burns that ended since the program began.")
	fireSeconds  = counter("fire_seconds_total", "How long something burned or glowed since the program began, by the outdoor temperature in degrees Celsius.", "outdoor")
	spillages    = counter("spillages_total", "Times that the draft turned while a fire burned, by the outdoor temperature in degrees Celsius.", "outdoor")
)

// collect writes the totals. Where no sensor is outdoors, its bands have no series.
func (t *Totals) collect(out sink, outdoorFitted bool) {
	t.mu.Lock()
	defer t.mu.Unlock()
	for i, p := range phases {
		out.put(phaseSeconds, t.phases[i].Seconds(), p.String())
	}
	out.put(burns, float64(t.burns))
	for i, band := range outdoors {
		if i != unknownOutdoor && !outdoorFitted {
			break
		}
		out.put(fireSeconds, t.fire[i].Seconds(), band)
		out.put(spillages, float64(t.spillages[i]), band)
	}
}
