package records

import (
	"fmt"
	"net/http"
	"net/url"
	"strconv"
	"strings"
	"time"

	"fluewright/analysis/burn"
	"fluewright/daemon/internal/trend"
)

// burnsAPage is how many burns one page lists.
const burnsAPage = 25

type burnsView struct {
	Trouble string
	Going   string
	Total   int
	Burns   []burnView
	Older   string
	Newest  bool
}

// burnView is a burn in words.
type burnView struct {
	No                       int
	Href                     string
	Start, End, Lasted, Kind string
	Loads, Doors             string
	Flue, Chamber            string
	Draft, Least, Most       string
	Outside                  string // of the band
	Smoulder, Clean          string
	Heat                     string
	Wet, Tar                 string
	Told, Stands             string
	Bar                      *phaseBar
	Phases                   []phaseView
}

type phaseView struct{ Name, Class, Lasted, Share string }

// phaseBar is the drawing of the phases, 100 units wide. Each phase has a height of its own,
// so that it is not told by its colour alone.
type phaseBar struct {
	Label string
	Parts []phasePart
}

type phasePart struct {
	Class               string
	X, Y, Width, Height float64
}

// phases in the order in which a burn goes through them, with the height of their bars.
var phaseOrder = []struct {
	name, class string
	height      float64
	of          func(*trend.Burn) float64
}{
	{"lighting", "lighting", 10, func(b *trend.Burn) float64 { return b.Lighting }},
	{"warm-up", "warm-up", 14, func(b *trend.Burn) float64 { return b.WarmUp }},
	{"clean burn", "clean-burn", 20, func(b *trend.Burn) float64 { return b.CleanBurn }},
	{"smoulder", "smoulder", 6, func(b *trend.Burn) float64 { return b.Smoulder }},
	{"coals", "coals", 3, func(b *trend.Burn) float64 { return b.Coals }},
	{"not seen", "not-seen", 1, func(b *trend.Burn) float64 { return b.Unseen }},
}

var kinds = map[string]string{
	burn.ColdStart.String(): "lit in a cold furnace",
	burn.OnCoals.String():   "wood laid on coals",
	burn.Found.String():     "found burning",
}

func (p *Pages) words(b *trend.Burn) burnView {
	u := p.o.Units
	v := burnView{
		No: b.No, Href: "/burns/" + strconv.Itoa(b.No), Start: p.stamp(b.Start, b.Sure), End: p.stamp(b.End, b.Sure),
		Lasted: trend.Lasted(b.End.Sub(b.Start).Seconds()), Kind: kinds[b.Kind],
		Loads: strconv.FormatInt(b.Loads, 10), Doors: strconv.FormatInt(b.Doors, 10),
		Flue: number(b.PeakFlue, u.Temperature), Chamber: number(b.PeakChamber, u.Temperature),
		Draft: number(b.MeanDraft, u.Pressure), Least: number(b.LeastDraft, u.Pressure), Most: number(b.MostDraft, u.Pressure),
		Smoulder: trend.Lasted(b.Smoulder), Clean: trend.Lasted(b.CleanBurn), Heat: number(b.Heat, func(v float64) string { return trend.Energy(u, v) }),
		Wet: number(b.Condensing, func(v float64) string { return trend.KelvinHours(u, v) }), Tar: number(b.Tar, func(v float64) string { return trend.KelvinHours(u, v) }),
		Told: strings.Join(append(append([]string{}, b.Told...), b.Notices...), ", "), Stands: b.Stands(),
	}
	if v.Told == "" {
		v.Told = "nothing"
	}
	if v.Kind == "" {
		v.Kind = b.Kind
	}
	switch {
	case b.MeanDraft == nil:
		v.Outside = "not read"
	case b.DraftBelow < 1 && b.DraftAbove < 1:
		v.Outside = "never outside the band, as far as it was read"
	default:
		v.Outside = "below the band " + trend.Lasted(b.DraftBelow) + ", above it " + trend.Lasted(b.DraftAbove)
	}
	v.Bar, v.Phases = phasesOf(b)
	return v
}

func phasesOf(b *trend.Burn) (bar *phaseBar, views []phaseView) {
	whole := 0.0
	for _, p := range phaseOrder {
		whole += p.of(b)
	}
	if whole <= 0 {
		return nil, nil
	}
	bar = &phaseBar{}
	var said []string
	x := 0.0
	for _, p := range phaseOrder {
		s := p.of(b)
		if s <= 0 {
			continue
		}
		w := 100 * s / whole
		bar.Parts = append(bar.Parts, phasePart{p.class, round(x), 20 - p.height, round(w), p.height})
		x += w
		said = append(said, p.name+" "+trend.Lasted(s))
		views = append(views, phaseView{p.name, p.class, trend.Lasted(s), fmt.Sprintf("%.0f %%", w)})
	}
	bar.Label = strings.Join(said, ", ")
	return bar, views
}

// round keeps drawings short.
func round(v float64) float64 { return float64(int(v*100+0.5)) / 100 }

func (p *Pages) serveBurns(w http.ResponseWriter, r *http.Request) {
	ctx, cancel := within(r)
	defer cancel()
	v, code := burnsView{Going: p.going()}, http.StatusOK
	if p.o.Log == nil {
		v.Trouble = nothing
		p.serve(w, r, p.burns, code, "Burns", v)
		return
	}
	before := int(min(cursor(r), 1<<30))
	page, err := trend.LatestBurns(ctx, p.o.Log, before, burnsAPage)
	if err != nil {
		v.Trouble, code = p.trouble(r, err), http.StatusServiceUnavailable
	}
	v.Total, v.Older = page.Total, older("/burns", int64(page.Older))
	for i := range page.Burns {
		v.Burns = append(v.Burns, p.words(&page.Burns[i]))
	}
	v.Newest = len(page.Burns) == 0 || page.Burns[0].No == page.Total
	p.serve(w, r, p.burns, code, "Burns", v)
}

// going says that a burn goes on, which is not in the table yet.
func (p *Pages) going() string {
	s := p.o.Feed.Latest()
	if s == nil || !s.Assessment.Burning || p.silence() > 0 {
		return ""
	}
	b := &s.Assessment.Burn
	return fmt.Sprintf("A burn goes on since %s, %s long. It comes into the table when the coals are out or wood is laid on.",
		p.long(s.WallOf(b.Start)), trend.Lasted((s.Frame.At - b.Start).Seconds()))
}

// oneView is the page of one burn.
type oneView struct {
	burnView
	Trouble      string
	Picture      string // the query of its picture
	Trend        string
	Report       string
	Log          string
	Newer, Older string
	Others       []otherView
	Happened     []happenedView
}

// otherView is a burn to compare with; Before says that it is the one before.
type otherView struct {
	No     int
	Before bool
}

type happenedView struct{ When, What string }

// around is how much of the time before and after a burn belongs to its picture.
const around = 15 * time.Minute

func (p *Pages) serveBurn(w http.ResponseWriter, r *http.Request) {
	n, err := strconv.Atoi(r.PathValue("number"))
	if err != nil || n < 1 || p.o.Log == nil {
		p.noBurn(w, r)
		return
	}
	ctx, cancel := within(r)
	defer cancel()
	b, ok, err := trend.BurnNumber(ctx, p.o.Log, n)
	if err != nil {
		p.serve(w, r, p.burn, http.StatusServiceUnavailable, "Burn", oneView{Trouble: p.trouble(r, err)})
		return
	}
	if !ok {
		p.noBurn(w, r)
		return
	}
	v := oneView{burnView: p.words(&b)}
	query := url.Values{"from": {stampUTC(b.Start.Add(-around))}, "to": {stampUTC(b.End.Add(around))}}
	which := url.Values{"burn": {strconv.Itoa(n)}}.Encode()
	v.Picture, v.Trend = query.Encode(), "/trend?"+query.Encode()
	v.Report, v.Log = "/api/v1/trend/export?format=html&"+which, "/api/v1/trend/export?format=csv&"+which
	total, err := p.o.Log.Count(ctx, "burns", 0)
	if err == nil {
		if n < total {
			v.Newer = "/burns/" + strconv.Itoa(n+1)
		}
		if n > 1 {
			v.Older = "/burns/" + strconv.Itoa(n-1)
		}
		for i := min(total, n+burnsAPage); i >= 1 && i >= n-burnsAPage; i-- {
			if i != n {
				v.Others = append(v.Others, otherView{i, i == n-1})
			}
		}
		err = p.happened(r, &v, &b)
	}
	if err != nil {
		v.Trouble = p.trouble(r, err)
	}
	p.serve(w, r, p.burn, http.StatusOK, "Burn "+strconv.Itoa(n), v)
}

func stampUTC(t time.Time) string { return t.UTC().Format(time.RFC3339) }

func (p *Pages) noBurn(w http.ResponseWriter, r *http.Request) {
	p.serve(w, r, p.burn, http.StatusNotFound, "Burn", oneView{Trouble: "There is no burn of that number on record."})
}

// happened lists what happened during a burn.
func (p *Pages) happened(r *http.Request, v *oneView, b *trend.Burn) error {
	ctx, cancel := within(r)
	defer cancel()
	events, err := trend.During(ctx, p.o.Log, trend.Window{From: b.Start, To: b.End.Add(time.Millisecond)})
	for _, e := range events {
		v.Happened = append(v.Happened, happenedView{e.Time.In(p.o.Zone).Format("15:04"), e.What})
	}
	return err
}
