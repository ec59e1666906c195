package commissionpage

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/base64"
	"errors"
	"io/fs"
	"net/http"
	"time"

	"fluewright/daemon/internal/commission"
)

const (
	patience   = 5 * time.Second // with the history
	mostPast   = 20              // reports that are listed
	mostLooked = 200             // that are looked through for one
)

// errNoReport is returned where there is no such report.
var errNoReport = errors.New("there is no such report")

// record finds the one that is asked for: by its number, or else what is under way, as it
// stands, or else the latest.
func (p *Pages) record(r *http.Request) (commission.Record, error) {
	number := r.PathValue("number")
	if p.o.Desk == nil {
		return commission.Record{}, errNoReport
	}
	if number == "" {
		if record, err := p.o.Desk.Record(); !errors.Is(err, commission.ErrNone) {
			return record, err
		}
	}
	p.mu.Lock()
	closed := p.closed
	p.mu.Unlock()
	if closed.Number != "" && (number == "" || number == closed.Number) {
		return closed, nil
	}
	kept, err := p.kept(r.Context(), mostLooked)
	if err != nil {
		return commission.Record{}, err
	}
	for _, record := range kept {
		if number == "" || number == record.Number {
			return record, nil
		}
	}
	return commission.Record{}, errNoReport
}

// kept are the records that are on disk, the newest first. One that was changed is none.
func (p *Pages) kept(ctx context.Context, most int) ([]commission.Record, error) {
	var all []commission.Record
	if p.o.Log != nil {
		ctx, cancel := context.WithTimeout(ctx, patience)
		defer cancel()
		events, err := p.o.Log.Newest(ctx, "commissionings", 0, most)
		if err != nil {
			return nil, err
		}
		for _, e := range events {
			text, _ := e.Fields["report"].(string)
			record, err := commission.ParseRecord([]byte(text))
			if err != nil {
				p.o.Errors.Error("a record of a commissioning cannot be used", "error", err)
				continue
			}
			all = append(all, record)
		}
	}
	last, err := p.o.Desk.Last()
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return all, nil
	case err != nil:
		p.o.Errors.Error("the record of the last commissioning cannot be used", "error", err)
		return all, nil
	}
	for _, record := range all {
		if record.Number == last.Number {
			return all, nil
		}
	}
	return append(all, last), nil
}

// pastView is a report in the list of them.
type pastView struct{ Number, When, What, Verdict string }

// past lists the reports there are.
func (p *Pages) past(r *http.Request) (list []pastView, trouble string) {
	if p.o.Desk == nil {
		return nil, ""
	}
	all, err := p.kept(r.Context(), mostPast)
	if err != nil {
		p.o.Errors.Error("cannot read the history for a page", "path", r.URL.Path, "error", err)
		return nil, "The history cannot be read at this moment, so that earlier reports are missing here."
	}
	p.mu.Lock()
	closed := p.closed
	p.mu.Unlock()
	listed := false
	for i := range all {
		listed = listed || all[i].Number == closed.Number
	}
	if !listed && closed.Number != "" {
		all = append([]commission.Record{closed}, all...)
	}
	for i := range all {
		what := "Commissioning"
		if all[i].State.Season {
			what = "Season start"
		}
		list = append(list, pastView{all[i].Number, all[i].Made.In(p.o.Zone).Format("2 Jan 2006, 15:04"), what, string(all[i].Verdict)})
	}
	return list, ""
}

// serveReport answers with the report, a page that needs nothing else.
func (p *Pages) serveReport(w http.ResponseWriter, r *http.Request) {
	record, err := p.record(r)
	var page bytes.Buffer
	if err == nil {
		err = record.WriteHTML(&page, p.o.Zone)
	}
	if err != nil {
		p.noReport(w, r, err)
		return
	}
	h := w.Header()
	// The report brings its style with it; that style and no other is let through.
	h.Set("Content-Security-Policy", "default-src 'none'; style-src '"+styleHash(page.Bytes())+"'; img-src 'self' data:; "+
		"form-action 'none'; base-uri 'none'; frame-ancestors 'none'")
	h.Set("Content-Type", "text/html; charset=utf-8")
	h.Set("Cache-Control", "no-store")
	_, _ = page.WriteTo(w) // whoever asked may have gone
}

// styleHash returns the hash of a page's first style sheet, as a policy names it.
func styleHash(page []byte) string {
	_, rest, _ := bytes.Cut(page, []byte("<style>"))
	style, _, _ := bytes.Cut(rest, []byte("</style>"))
	sum := sha256.Sum256(style)
	return "sha256-" + base64.StdEncoding.EncodeToString(sum[:])
}

// serveRecord answers with the record, JSON.
func (p *Pages) serveRecord(w http.ResponseWriter, r *http.Request) {
	record, err := p.record(r)
	var text bytes.Buffer
	if err == nil {
		err = record.WriteJSON(&text)
	}
	if err != nil {
		p.noReport(w, r, err)
		return
	}
	w.Header().Set("Content-Type", "application/json")
	w.Header().Set("Content-Disposition", `attachment; filename="`+record.Number+`.json"`)
	w.Header().Set("Cache-Control", "no-store")
	_, _ = text.WriteTo(w)
}

func (p *Pages) noReport(w http.ResponseWriter, r *http.Request, err error) {
	if errors.Is(err, errNoReport) {
		http.Error(w, "There is no such report.", http.StatusNotFound)
		return
	}
	p.o.Errors.Error("cannot make a report", "path", r.URL.Path, "error", err)
	http.Error(w, "The report cannot be made at this moment.", http.StatusInternalServerError)
}
