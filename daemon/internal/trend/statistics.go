package trend

import (
	"context"
	"math"
	"time"

	"fluewright/analysis/frame"
	"fluewright/daemon/internal/history"
)

// Statistics sums up a window.
type Statistics struct {
	From     time.Time `json:"from"`
	To       time.Time `json:"to"`
	Channels []Sum     `json:"channels"`
	// Phases are the seconds in each phase that there was.
	Phases map[string]float64 `json:"phase_seconds"`
	// Draft holds the draft against the appliance's band, null where there is none of either.
	Draft *DraftInBand `json:"draft"`
}

// Sum is one channel over the window; what was not read is null.
type Sum struct {
	Channel  string `json:"channel"`
	Quantity string `json:"quantity"`
	Readings int    `json:"readings"`
	// ReadShare is for which share of the window's time there are readings, and GoodShare
	// which share of those were good.
	ReadShare Number `json:"read_share"`
	GoodShare Number `json:"good_share"`
	Least     Number `json:"least"`
	Mean      Number `json:"mean"`
	Greatest  Number `json:"greatest"`
}

// DraftInBand says for which share of the time in which something burned or glowed and the
// draft was read it was below, within and above its band.
type DraftInBand struct {
	Low         float64 `json:"low_pascals"`
	High        float64 `json:"high_pascals"`
	BurnSeconds float64 `json:"burn_seconds"`
	Below       Number  `json:"below_share"`
	Within      Number  `json:"within_share"`
	Above       Number  `json:"above_share"`
	// By is what it was made of: "minutes", the means over each, or "burns", what was counted
	// at every tick of the burns that ended in the window.
	By string `json:"by"`
}

// longestByMinutes is the longest window whose draft is looked at minute by minute.
const longestByMinutes = 6 * 24 * time.Hour

// Sum sums up a window.
func (w Window) Sum(ctx context.Context, a History, s Site, channels [frame.Count]bool) (Statistics, error) {
	const most = 2000 // narrow enough that what lies at the ends counts for little
	n := min(max(int(w.To.Sub(w.From)/time.Minute), 1), most)
	c, err := Look(ctx, a, w, channels, n)
	if err != nil {
		return Statistics{}, err
	}
	return c.Sum(ctx, a, s)
}

// Sum sums up what a course shows.
func (c *Course) Sum(ctx context.Context, a History, s Site) (Statistics, error) {
	all := Statistics{From: c.From, To: c.To, Channels: []Sum{}, Phases: map[string]float64{}}
	for i := range c.Channels {
		sum := c.Channels[i].sum()
		read := time.Duration(sum.Readings) * s.Config.History.Period
		sum.ReadShare = Number(min(read.Seconds()/c.To.Sub(c.From).Seconds(), 1))
		all.Channels = append(all.Channels, sum)
	}
	for _, p := range c.Phases {
		all.Phases[p.Phase] += p.To.Sub(p.From).Seconds()
	}
	low, high := s.Config.Analysis.DraftLow, s.Config.Analysis.DraftHigh
	if c.series(frame.Draft) == nil || !(low < high) {
		return all, nil
	}
	d := &DraftInBand{Low: low, High: high, By: "minutes"}
	var below, within, above float64
	var err error
	if c.To.Sub(c.From) <= longestByMinutes {
		below, within, above, err = c.draftByMinutes(ctx, a, low, high)
	} else {
		d.By = "burns"
		below, within, above, err = draftByBurns(ctx, a, Window{c.From, c.To})
	}
	d.BurnSeconds = below + within + above
	part := func(v float64) Number { return Number(v / d.BurnSeconds) } // NaN of nothing
	d.Below, d.Within, d.Above = part(below), part(within), part(above)
	all.Draft = d
	return all, err
}

func (s *Series) sum() Sum {
	all := Sum{Channel: s.Channel, Quantity: s.Quantity, Readings: s.Readings, GoodShare: s.GoodShare}
	least, greatest, sum := math.NaN(), math.NaN(), 0.0
	for _, c := range s.columns {
		if c.N == 0 {
			continue
		}
		if !(least <= c.Min) {
			least = c.Min
		}
		if !(greatest >= c.Max) {
			greatest = c.Max
		}
		sum += float64(c.Mean * float64(c.N))
	}
	all.Least, all.Greatest, all.Mean = Number(least), Number(greatest), Number(sum/float64(s.Readings))
	return all
}

// draftByMinutes returns seconds below, within and above the band while something burned or glowed.
func (c *Course) draftByMinutes(ctx context.Context, a History, low, high float64) (below, within, above float64, err error) {
	n := max(int(c.To.Sub(c.From)/time.Minute), 1)
	t, err := a.Trend(ctx, history.Window{From: c.From, To: c.To, Columns: n, Channels: []frame.Channel{frame.Draft}})
	if err != nil {
		return 0, 0, 0, err
	}
	width := c.To.Sub(c.From) / time.Duration(n)
	next := 0
	for i, col := range t.Series[0] {
		middle := c.From.Add(width*time.Duration(i) + width/2)
		for next < len(c.Phases) && !middle.Before(c.Phases[next].To) {
			next++
		}
		if col.N == 0 || next == len(c.Phases) || middle.Before(c.Phases[next].From) || !c.Phases[next].phase.Fire() {
			continue
		}
		switch {
		case col.Mean < low:
			below += width.Seconds()
		case col.Mean > high:
			above += width.Seconds()
		default:
			within += width.Seconds()
		}
	}
	return below, within, above, nil
}

// draftByBurns sums up the burns that ended in a window. A burn's time without a reading of
// the draft cannot be told from time within the band, so a burn without any is left out.
func draftByBurns(ctx context.Context, a History, w Window) (below, within, above float64, err error) {
	events, err := a.Events(ctx, "burns", w.From, w.To)
	if err != nil {
		return 0, 0, 0, err
	}
	for i := range events {
		b := burnOf(&events[i])
		if b.MeanDraft == nil {
			continue
		}
		seen := b.Lighting + b.WarmUp + b.CleanBurn + b.Smoulder + b.Coals
		below, above = below+b.DraftBelow, above+b.DraftAbove
		within += max(seen-b.DraftBelow-b.DraftAbove, 0)
	}
	return below, within, above, nil
}
