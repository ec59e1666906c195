package trend

import (
	"context"
	"time"

	"fluewright/daemon/internal/history"
)

// BurnPage is part of the table of burns, the newest first.
type BurnPage struct {
	Burns []Burn `json:"burns"`
	// Total counts all burns of the history. Their numbers are those of [Burns].
	Total int `json:"total"`
	// Older is the number below which the next page begins; zero where there is none.
	Older int `json:"older,omitempty"`
}

// LatestBurns returns the burns whose numbers are below before, zero for the newest: at most
// so many.
func LatestBurns(ctx context.Context, l Log, before, most int) (BurnPage, error) {
	page := BurnPage{Burns: []Burn{}}
	total, err := l.Count(ctx, "burns", 0)
	if err != nil || total == 0 {
		return page, err
	}
	page.Total = total
	next, at := total+1, int64(0)
	if before > 0 && before <= total {
		e, ok, err := l.Nth(ctx, "burns", before)
		if err != nil || !ok {
			return page, err
		}
		next, at = before, e.ID()
	}
	events, err := l.Newest(ctx, "burns", at, most)
	if err != nil || len(events) == 0 {
		return page, err
	}
	for i := range events {
		b := burnOf(&events[i])
		b.No = next - 1 - i
		page.Burns = append(page.Burns, b)
	}
	if last := page.Burns[len(page.Burns)-1].No; last > 1 {
		page.Older = last
	}
	return page, tellAll(ctx, l, page.Burns)
}

// BurnNumber returns one burn; ok is false where there is none of that number.
func BurnNumber(ctx context.Context, l Log, n int) (b Burn, ok bool, err error) {
	e, ok, err := l.Nth(ctx, "burns", n)
	if err != nil || !ok {
		return b, false, err
	}
	all := []Burn{burnOf(&e)}
	all[0].No = n
	err = tellAll(ctx, l, all)
	return all[0], true, err
}

// tellAll finds what was told during some burns.
func tellAll(ctx context.Context, l Source, burns []Burn) error {
	w := Window{burns[0].Start, burns[0].End}
	for _, b := range burns {
		w.From, w.To = earlier(w.From, b.Start), later(w.To, b.End)
	}
	var told [2][]history.Event
	for i, kind := range []string{"alarms", "notices"} {
		var err error
		// An event at the very end of a burn is the burn's.
		if told[i], err = l.Events(ctx, kind, w.From, w.To.Add(time.Millisecond)); err != nil {
			return err
		}
	}
	for i := range burns {
		burns[i].tell(told[0], told[1])
	}
	return nil
}
