package trend

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"time"

	"fluewright/daemon/internal/history"
)

// Burn is a finished burn as the history has it, and what was told during it.
type Burn struct {
	// No counts the burns of the history from 1.
	No    int       `json:"number"`
	Start time.Time `json:"start"`
	End   time.Time `json:"end"`
	// Sure says that the times are tied to a synchronised clock.
	Sure bool `json:"time_sure"`
	// Kind is how it began: "cold-start", "reload", "found".
	Kind  string `json:"kind"`
	Loads int64  `json:"loads"`
	Doors int64  `json:"doors"`
	// What was not measured is null.
	PeakFlue    *float64 `json:"peak_flue_celsius"`
	PeakChamber *float64 `json:"peak_chamber_celsius"`
	MeanDraft   *float64 `json:"mean_draft_pascals"`
	LeastDraft  *float64 `json:"least_draft_pascals"`
	MostDraft   *float64 `json:"most_draft_pascals"`
	// Seconds in each phase; unseen is what nobody saw.
	Lighting  float64 `json:"lighting_seconds"`
	WarmUp    float64 `json:"warm_up_seconds"`
	CleanBurn float64 `json:"clean_burn_seconds"`
	Smoulder  float64 `json:"smoulder_seconds"`
	Coals     float64 `json:"coals_seconds"`
	Unseen    float64 `json:"unseen_seconds"`
	// Seconds with a draft below and above the appliance's band.
	DraftBelow float64 `json:"draft_below_seconds"`
	DraftAbove float64 `json:"draft_above_seconds"`
	// Condensing and Tar compare burns of one house: K s of the flue's wall below the dew
	// point, and below what tar needs.
	Condensing *float64 `json:"condensing_kelvin_seconds"`
	Tar        *float64 `json:"tar_kelvin_seconds"`
	Heat       *float64 `json:"heat_joules"`
	// Told lists the alarms raised, "name" or "name/channel", and Notices the notices.
	Told    []string `json:"alarms"`
	Notices []string `json:"notices"`
	// Verdicts say in words what stands out.
	Verdicts []string `json:"verdicts"`
}

// fields reads an event's columns.
type fields map[string]any

func (f fields) text(name string) string {
	s, _ := f[name].(string)
	return s
}

func (f fields) whole(name string) int64 {
	switch v := f[name].(type) {
	case int64:
		return v
	case float64:
		return int64(v)
	}
	return 0
}

// number is nil for what was not measured.
func (f fields) number(name string) *float64 {
	switch v := f[name].(type) {
	case float64:
		return &v
	case int64:
		x := float64(v)
		return &x
	}
	return nil
}

func (f fields) seconds(name string) float64 {
	if v := f.number(name); v != nil {
		return *v
	}
	return 0
}

// Burns lists the burns that reach into a window, in the order of time; the zero window is
// all of them.
func Burns(ctx context.Context, a Source, w Window) ([]Burn, error) {
	events, err := a.Events(ctx, "burns", ever.From, ever.To)
	if err != nil {
		return nil, err
	}
	var all []Burn
	during := Window{ever.To, ever.From}
	for i := range events {
		b := burnOf(&events[i])
		b.No = i + 1
		if w != (Window{}) && (!b.Start.Before(w.To) || !w.From.Before(b.End)) {
			continue
		}
		during.From, during.To = earlier(during.From, b.Start), later(during.To, b.End)
		all = append(all, b)
	}
	if all == nil {
		return nil, nil
	}
	during.To = during.To.Add(time.Second) // what happened at the very end belongs to it
	alarms, err := a.Events(ctx, "alarms", during.From, during.To)
	if err != nil {
		return nil, err
	}
	notices, err := a.Events(ctx, "notices", during.From, during.To)
	if err != nil {
		return nil, err
	}
	for i := range all {
		all[i].tell(alarms, notices)
	}
	return all, nil
}

func burnOf(e *history.Event) Burn {
	f := fields(e.Fields)
	return Burn{
		Start: e.Moment(f.whole("start_ms")), End: e.Moment(f.whole("end_ms")), Sure: e.Sure,
		Kind: f.text("kind"), Loads: f.whole("loads"), Doors: f.whole("doors"),
		PeakFlue: f.number("peak_flue_celsius"), PeakChamber: f.number("peak_chamber_celsius"),
		MeanDraft: f.number("mean_draft_pascals"), LeastDraft: f.number("least_draft_pascals"), MostDraft: f.number("most_draft_pascals"),
		Lighting: f.seconds("lighting_s"), WarmUp: f.seconds("warm_up_s"), CleanBurn: f.seconds("clean_burn_s"),
		Smoulder: f.seconds("smoulder_s"), Coals: f.seconds("coals_s"), Unseen: f.seconds("unseen_s"),
		DraftBelow: f.seconds("draft_below_s"), DraftAbove: f.seconds("draft_above_s"),
		Condensing: f.number("condensing_ks"), Tar: f.number("tar_ks"), Heat: f.number("heat_joules"),
		Told: []string{}, Notices: []string{}, Verdicts: []string{},
	}
}

// tell finds what was told during the burn, and words what stands out.
func (b *Burn) tell(alarms, notices []history.Event) {
	during := func(e *history.Event) bool { return !e.At.Before(b.Start) && !e.At.After(b.End) }
	for i := range alarms {
		e := &alarms[i]
		if !during(e) {
			continue
		}
		f := fields(e.Fields)
		if name := alarmName(f); f.text("change") == "raised" && !slices.Contains(b.Told, name) {
			b.Told = append(b.Told, name)
		}
	}
	for i := range notices {
		e := &notices[i]
		if !during(e) {
			continue
		}
		if name := fields(e.Fields).text("notice"); !slices.Contains(b.Notices, name) {
			b.Notices = append(b.Notices, name)
		}
	}
	for _, name := range b.Told {
		b.Verdicts = append(b.Verdicts, "alarm "+name)
	}
	b.Verdicts = append(b.Verdicts, b.Notices...)
	for _, part := range []struct {
		what    string
		seconds float64
	}{
		{"not seen for", b.Unseen}, {"draft above the band for", b.DraftAbove}, {"draft below the band for", b.DraftBelow},
	} {
		if part.seconds >= 60 {
			b.Verdicts = append(b.Verdicts, part.what+" "+Lasted(part.seconds))
		}
	}
	switch {
	case b.MeanDraft == nil && b.PeakFlue == nil:
		b.Verdicts = append(b.Verdicts, "nothing was read")
	case b.MeanDraft == nil:
		b.Verdicts = append(b.Verdicts, "no draft was read")
	}
}

// alarmName is the alarm with its channel.
func alarmName(f fields) string {
	if c := f.text("channel"); c != "" {
		return f.text("alarm") + "/" + c
	}
	return f.text("alarm")
}

// Stands words what stands out. That nothing does is said of what was told, not of the fire.
func (b *Burn) Stands() string {
	if len(b.Verdicts) == 0 {
		return "nothing was told"
	}
	return strings.Join(b.Verdicts, "; ")
}

// Lasted writes a time as people say it.
func Lasted(seconds float64) string {
	d := time.Duration(seconds * float64(time.Second))
	switch {
	case d < 90*time.Second:
		return fmt.Sprintf("%d s", int(d.Round(time.Second).Seconds()))
	case d < 2*time.Hour:
		return fmt.Sprintf("%d min", int(d.Round(time.Minute).Minutes()))
	default:
		d = d.Round(time.Minute)
		return fmt.Sprintf("%d h %02d min", int(d.Hours()), int(d.Minutes())%60)
	}
}
