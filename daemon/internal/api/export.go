package api

import (
	"bufio"
	"compress/gzip"
	"errors"
	"io"
	"net/http"
	"time"

	"fluewright/analysis/frame"
	"fluewright/daemon/internal/trend"
)

// writing is one form in which a window is written out.
type writing struct {
	mime, ending string
	// every says that it takes a spacing of rows.
	every bool
	write func(a *API, r *http.Request, out io.Writer, w trend.Window, channels [frame.Count]bool, every time.Duration) error
}

var writings = map[string]writing{
	"csv": {"text/csv; charset=utf-8; header=present", ".csv", true, func(a *API, r *http.Request, out io.Writer, w trend.Window, c [frame.Count]bool, every time.Duration) error {
		return trend.WriteLog(r.Context(), out, a.o.History, w, c, every)
	}},
	"csv.gz": {"application/gzip", ".csv.gz", true, func(a *API, r *http.Request, out io.Writer, w trend.Window, c [frame.Count]bool, every time.Duration) error {
		z := gzip.NewWriter(out)
		return errors.Join(trend.WriteLog(r.Context(), z, a.o.History, w, c, every), z.Close())
	}},
	"parquet": {"application/vnd.apache.parquet", ".parquet", true, func(a *API, r *http.Request, out io.Writer, w trend.Window, c [frame.Count]bool, every time.Duration) error {
		return trend.WriteParquet(r.Context(), out, a.o.History, a.o.Site, w, c, every)
	}},
	"html": {"text/html; charset=utf-8", ".html", false, func(a *API, r *http.Request, out io.Writer, w trend.Window, c [frame.Count]bool, _ time.Duration) error {
		return trend.WriteReport(r.Context(), out, a.o.History, a.o.Site, w, c, a.o.Version)
	}},
}

// mostAtFullRate is the longest window that is written row by row: a longer one would keep a
// small computer busy for many minutes, and is better had as a bundle.
const mostAtFullRate = 31 * 24 * time.Hour

// export answers /api/v1/trend/export?from=&to=&format=&every= with the window as a file: a
// burn log ("csv", "csv.gz"), a table for analysts ("parquet"), a report ("html").
func (a *API) export(w http.ResponseWriter, r *http.Request) {
	q, window, ok := a.ask(w, r, "from", "to", "since", "burn", "channels", "format", "every")
	if !ok {
		return
	}
	form, ok := writings[q.format]
	switch {
	case !ok:
		Refuse(w, http.StatusBadRequest, "The format must be csv, csv.gz, parquet or html.")
		return
	case q.every != 0 && !form.every:
		Refuse(w, http.StatusBadRequest, "A report has no rows to be so far apart.")
		return
	case form.every && q.every < time.Minute && window.To.Sub(window.From) > mostAtFullRate:
		Refuse(w, http.StatusBadRequest, "Every row is written of 31 days at most: choose a shorter window, or every=1m or longer, or a bundle.")
		return
	}
	select {
	case a.exports <- struct{}{}:
		defer func() { <-a.exports }()
	default:
		w.Header().Set("Retry-After", "30")
		Refuse(w, http.StatusServiceUnavailable, "Other windows are being written out: ask again in half a minute.")
		return
	}
	channels := a.fitted(&q)
	h := w.Header()
	h.Set("Content-Type", form.mime)
	h.Set("Cache-Control", "no-store")
	h.Set("Content-Disposition", `attachment; filename="`+a.o.Site.Config.Site.Name+window.From.Format("-20060102-1504")+form.ending+`"`)
	out := &counted{w: bufio.NewWriterSize(Patient(w), 32<<10)}
	err := form.write(a, r, out, window, channels, q.every)
	if err == nil {
		err = out.w.Flush()
	}
	switch {
	case err == nil || r.Context().Err() != nil:
	case out.w.Buffered() == out.n: // nothing has left yet
		h.Del("Content-Disposition")
		a.fail(w, r, err)
	default:
		a.o.Log.Error("a window was not written out to its end", "format", q.format, "error", err)
		panic(http.ErrAbortHandler) // so that whoever reads sees that it is cut short
	}
}

// counted counts what is written.
type counted struct {
	w *bufio.Writer
	n int
}

// Write writes.
func (c *counted) Write(b []byte) (int, error) {
	n, err := c.w.Write(b)
	c.n += n
	return n, err
}
