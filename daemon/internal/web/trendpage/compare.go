package trendpage

import (
	"cmp"
	"fmt"
	"net/http"

	"fluewright/daemon/internal/api"
	"fluewright/daemon/internal/trend"
	"fluewright/daemon/internal/web/layout"
)

// compareView is the page of two burns, in words.
type compareView struct {
	Refused string
	A, B    burnWords
	Rows    []compared
	Between []event
	// Wide and Narrow are the addresses of the picture.
	Wide, Narrow string
	Burns        []chosen
}

type burnWords struct {
	No                    int
	Start, Stands, Window string
}

type compared struct{ What, A, B, Change string }

// serveCompare answers /trend/compare?a=&b=.
func (p *Page) serveCompare(w http.ResponseWriter, r *http.Request) {
	v, code := p.compareWords(r), http.StatusOK
	if v.Refused != "" {
		code = http.StatusNotFound
	}
	p.compare.Serve(w, r, code, layout.Page{Title: "Two burns", Styles: []string{"trend.css"}, Data: v})
}

func (p *Page) compareWords(r *http.Request) (v compareView) {
	if p.o.History == nil {
		v.Refused = "This monitor keeps no history: there are no burns to compare."
		return v
	}
	ctx := r.Context()
	first, second, err := p.two(r)
	if err != nil {
		v.Refused = err.Error()
		return v
	}
	c, err := trend.Compare(ctx, p.o.History, first, second)
	if err != nil {
		v.Refused = p.failed(r, err).Empty
		return v
	}
	v.A, v.B = p.burn(&first), p.burn(&second)
	for i := range c.Rows {
		a, b, change := c.Rows[i].Texts(p.o.Site.Config.Site.Units)
		v.Rows = append(v.Rows, compared{c.Rows[i].What, a, b, change})
	}
	for _, d := range c.Between {
		v.Between = append(v.Between, event{When: d.Time.In(p.o.Site.Zone).Format("Jan 2, 15:04"), What: d.What})
	}
	v.Wide, v.Narrow = images("/trend/compare.svg", fmt.Sprintf("a=%d&b=%d", first.No, second.No))
	if v.Burns, err = p.burns(ctx); err != nil {
		v.Refused = p.failed(r, err).Empty
	}
	for i := range v.Burns {
		v.Burns[i].A, v.Burns[i].B = v.Burns[i].No == first.No, v.Burns[i].No == second.No
	}
	return v
}

func (p *Page) burn(b *trend.Burn) burnWords {
	return burnWords{
		No: b.No, Start: b.Start.In(p.o.Site.Zone).Format("Mon, Jan 2, 15:04"), Stands: b.Stands(),
		Window: "/trend?" + span(trend.Window{From: b.Start.Add(-around), To: b.End.Add(around)}),
	}
}

// two finds the burns that are asked for, the last one where none is named.
func (p *Page) two(r *http.Request) (first, second trend.Burn, err error) {
	q := r.URL.Query()
	if first, err = trend.Find(r.Context(), p.o.History, cmp.Or(q.Get("a"), "last")); err != nil {
		return first, second, err
	}
	second, err = trend.Find(r.Context(), p.o.History, cmp.Or(q.Get("b"), "last"))
	return first, second, err
}

// compareImage answers /trend/compare.svg?a=&b=&width=.
func (p *Page) compareImage(w http.ResponseWriter, r *http.Request) {
	if p.o.History == nil {
		api.Refuse(w, http.StatusNotFound, "This monitor keeps no history.")
		return
	}
	width, err := widthOf(r.URL.Query().Get("width"))
	if err != nil {
		api.Refuse(w, http.StatusBadRequest, err.Error())
		return
	}
	first, second, err := p.two(r)
	if err != nil {
		api.Refuse(w, http.StatusNotFound, err.Error())
		return
	}
	picture, err := trend.Overlay(r.Context(), p.o.History, p.o.Site, first, second, p.fitted(), width)
	if err != nil {
		p.refuse(w, r, err)
		return
	}
	p.draw(w, r, picture)
}
