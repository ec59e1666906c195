package now

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"fluewright/analysis/burn"
	"fluewright/analysis/frame"
	"fluewright/daemon/internal/status"
	"fluewright/daemon/internal/verdict"
)

// draftView is the draft against its band: words, and a bar of our own in SVG.
type draftView struct {
	Shown   bool   // there is a draft sensor
	Value   string // the number
	Unit    string
	Means   string // what the number means, a sentence
	Missing string
	Bar     *bar
}

// bar holds the x positions of the drawing, in its 360 units of width.
type bar struct {
	Zero, Low, High, Width float64
	Pointer                float64
	Beyond                 string // "less" or "more" where the value is off the scale
	LowText, HighText      string
	WeakAt, StrongAt       float64 // of the words; WeakAt is 0 without room for it
}

const (
	barLeft, barRight = 8.0, 352.0
	weakRoom          = 50.0
)

// draw places v and the band on a scale from half the upper limit below zero to twice
// the upper limit.
func draw(v, low, high float64, text func(float64) string) *bar {
	from, to := -high/2, 2*high
	x := func(v float64) float64 { return barLeft + (barRight-barLeft)*(v-from)/(to-from) }
	b := &bar{Zero: x(0), Low: x(low), High: x(high), LowText: text(low), HighText: text(high)}
	b.Width = b.High - b.Low
	b.WeakAt, b.StrongAt = (b.Zero+b.Low)/2, (b.High+barRight)/2
	if b.Low-b.Zero < weakRoom {
		b.WeakAt = 0
	}
	b.Pointer = min(max(x(v), barLeft), barRight)
	switch {
	case v < from:
		b.Beyond = "less"
	case v > to:
		b.Beyond = "more"
	}
	return b
}

func (p *Page) draft(s *status.Status, silence time.Duration) draftView {
	d := draftView{Shown: p.o.Verdict.Fitted[frame.Draft]}
	in := s.Assessment.Draft
	if silence > 0 || !verdict.Readable(in) || slices.Contains(p.o.Verdict.Judge(s, silence).Missing, frame.Draft) {
		d.Missing = "The draft cannot be told: there is no reading."
		return d
	}
	text := p.o.Units.Pressure
	d.Value, d.Unit, _ = strings.Cut(text(in.Value), " ")
	low, high := p.o.DraftLow, p.o.DraftHigh
	if high <= 0 {
		d.Means = "No band is configured to hold it against."
		return d
	}
	d.Bar = draw(in.Value, low, high, text)
	asks := fmt.Sprintf("The appliance asks for %s to %s", text(low), text(high))
	switch cold := s.Assessment.Phase == burn.Cold; {
	case in.Value < 0 && cold:
		d.Means = "Turned: air comes down the chimney. There is no fire now; do not light one before the chimney pulls."
	case in.Value < 0:
		d.Means = "Turned: flue gas can come into the house."
	case in.Value < low && cold:
		d.Means = asks + " while it burns; without a fire a weaker draft is usual."
	case in.Value < low:
		d.Means = asks + ": this is too weak."
	case in.Value > high:
		d.Means = asks + ": this is too strong."
	default:
		d.Means = asks + ": this is within."
	}
	if d.Bar.Beyond != "" {
		d.Means += " It is off the scale of the picture."
	}
	return d
}
