package message

import (
	"time"

	"fluewright/analysis/burn"
	"fluewright/analysis/frame"
)

// BurnLine sums up a finished burn. A quantity that was not measured is left out.
type BurnLine struct {
	Time        time.Time `json:"time"`
	Type        string    `json:"type"` // "burn"
	Kind        string    `json:"kind"`
	Start       time.Time `json:"start"`
	End         time.Time `json:"end"`
	Loads       int       `json:"loads"`
	Doors       int       `json:"doors"`
	PeakFlue    *float64  `json:"peak_flue_celsius,omitempty"`
	PeakChamber *float64  `json:"peak_chamber_celsius,omitempty"`
	// Peaks are those of all temperatures that were read.
	Peaks map[string]PeakLine `json:"peaks,omitempty"`
	// CleanBurn is the time in that phase, Phases that in each, s.
	CleanBurn float64            `json:"clean_burn_seconds"`
	Phases    map[string]float64 `json:"phase_seconds"`
	// FanOn and Clean are the times from lighting to the blower's first start and to the
	// first clean burn.
	FanOn     *MarkLine  `json:"to_fan_on,omitempty"`
	Clean     *MarkLine  `json:"to_clean_burn,omitempty"`
	MeanDraft *float64   `json:"mean_draft_pascals,omitempty"`
	Draft     *DraftLine `json:"draft,omitempty"`
	// Creosote compares burns of one house; no rule makes millimetres of it.
	Creosote  CreosoteLine  `json:"creosote"`
	Delivered DeliveredLine `json:"delivered"`
}

// PeakLine is the hottest reading of a channel.
type PeakLine struct {
	Celsius float64   `json:"celsius"`
	At      time.Time `json:"at"`
}

// MarkLine is a moment after the start; Inferred says that a figure of the trade was
// passed and the thing itself was not seen.
type MarkLine struct {
	Seconds  float64 `json:"seconds"`
	Inferred bool    `json:"inferred,omitempty"`
}

// DraftLine is the draft of a burn: its extremes, averaged over some seconds, and the
// times against the appliance's band.
type DraftLine struct {
	Least  float64 `json:"least_pascals"`
	Most   float64 `json:"most_pascals"`
	Below  float64 `json:"below_seconds"`
	Within float64 `json:"within_seconds"`
	Above  float64 `json:"above_seconds"`
}

// CreosoteLine is the dose of the flue's wall: how long and far it was below the dew point
// and below what tar needs, and how long smoke was made.
type CreosoteLine struct {
	Water   float64 `json:"below_dew_point_kelvin_seconds"`
	Tar     float64 `json:"below_tar_kelvin_seconds"`
	Smoke   float64 `json:"smoke_seconds"`
	Seen    float64 `json:"seen_seconds"`
	Typical bool    `json:"typical_chimney"`
}

// DeliveredLine is what the warm air took: the integral of its temperature rise, and the
// heat where the site gives an air flow.
type DeliveredLine struct {
	Rise float64  `json:"rise_kelvin_seconds"`
	Seen float64  `json:"seen_seconds"`
	Heat *float64 `json:"heat_joules,omitempty"`
}

// Burn is the line of a burn's summary, as of at.
func Burn(at time.Duration, b *burn.Summary, wall func(time.Duration) time.Time) BurnLine {
	l := BurnLine{
		Time: wall(at), Type: "burn", Kind: b.Kind.String(), Start: wall(b.Start), End: wall(b.End),
		Loads: b.Loads, Doors: b.Doors,
		PeakFlue: number(b.PeakFlue), PeakChamber: number(b.PeakChamber),
		CleanBurn: b.CleanBurn.Seconds(), Phases: map[string]float64{},
		FanOn: mark(b.FanOn), Clean: mark(b.Clean), MeanDraft: number(b.MeanDraft),
		Creosote: CreosoteLine{
			b.Creosote.Water, b.Creosote.Tar, b.Creosote.Smoke, b.Creosote.Seen.Seconds(), b.Creosote.Typical,
		},
		Delivered: DeliveredLine{b.Delivered.Rise, b.Delivered.Seen.Seconds(), number(b.Delivered.Heat)},
	}
	for _, c := range frame.All() {
		if p := b.Peaks[c]; number(p.Value) != nil && !c.Pressure() {
			if l.Peaks == nil {
				l.Peaks = map[string]PeakLine{}
			}
			l.Peaks[c.String()] = PeakLine{p.Value, wall(p.At)}
		}
	}
	for p, d := range b.In {
		if d > 0 {
			l.Phases[burn.Phase(p).String()] = d.Seconds()
		}
	}
	if d := &b.Draft; number(d.Least) != nil {
		l.Draft = &DraftLine{d.Least, d.Most, d.Below.Seconds(), d.Within.Seconds(), d.Above.Seconds()}
	}
	return l
}

func mark(m burn.Mark) *MarkLine {
	if m.How == burn.NotKnown {
		return nil
	}
	return &MarkLine{m.After.Seconds(), m.How == burn.Inferred}
}
