package web

import (
	"context"
	"errors"
	"net/http"
	"strconv"
	"time"

	"fluewright/daemon/internal/handout"
)

// makeTime is how long a bundle may take: a season on a small board takes minutes.
const makeTime = 10 * time.Minute

// bundle answers /api/bundle?since=48h, or from= and to=, or burn=last, with a bundle of the
// history. Its entity tag is the SHA-256 of its bytes. Whoever lost the line asks for the
// rest, with Range and If-Range, as long as the bundle is kept.
func (o *Options) bundle(w http.ResponseWriter, r *http.Request) {
	h := w.Header()
	h.Set("Cache-Control", "no-store")
	if site := r.Header.Get("Sec-Fetch-Site"); site != "" && site != "same-origin" && site != "none" {
		http.Error(w, "A page elsewhere must not ask for the history.", http.StatusForbidden)
		return
	}
	if o.Bundles == nil {
		http.Error(w, "This monitor keeps no history.", http.StatusNotFound)
		return
	}
	form, err := handout.FromValues(r.URL.Query())
	var wish handout.Wish
	if err == nil {
		wish, err = form.Wish()
	}
	if err != nil {
		http.Error(w, err.Error(), http.StatusBadRequest)
		return
	}
	rc := http.NewResponseController(w)
	_ = rc.SetWriteDeadline(time.Now().Add(makeTime + writeTimeout)) // else the server's own ends it
	var b *handout.Bundle
	if tag, err := strconv.Unquote(r.Header.Get("If-Range")); err == nil {
		b = o.Bundles.Find(tag)
	}
	if b == nil {
		ctx, cancel := context.WithTimeout(r.Context(), makeTime)
		defer cancel()
		if b, err = o.Bundles.Make(ctx, wish); err != nil {
			refuse(w, err)
			return
		}
	}
	file, err := b.Open()
	if err != nil {
		refuse(w, err) // forgotten at this moment
		return
	}
	defer file.Close()
	h.Set("ETag", strconv.Quote(b.ID))
	h.Set("Content-Type", "application/zip")
	h.Set("Content-Disposition", `attachment; filename="`+o.Site+b.To.UTC().Format("-20060102-1504")+`.zip"`)
	http.ServeContent(&patient{w, rc}, r, "", time.Time{}, file)
}

// refuse says why there is no bundle.
func refuse(w http.ResponseWriter, err error) {
	code := http.StatusNotFound // nothing is kept of that time
	switch {
	case errors.Is(err, handout.ErrBusy), errors.Is(err, context.DeadlineExceeded):
		w.Header().Set("Retry-After", "60")
		code = http.StatusServiceUnavailable
	case errors.Is(err, handout.ErrFull):
		code = http.StatusInsufficientStorage
	}
	http.Error(w, err.Error(), code)
}

// patient gives every piece its own time: the whole may take hours over a bad line, and a
// reader who takes nothing is given up all the same.
type patient struct {
	http.ResponseWriter
	rc *http.ResponseController
}

// Write is one piece.
func (p *patient) Write(b []byte) (n int, err error) {
	const piece = 32 << 10
	for len(b) > 0 && err == nil {
		if err = p.rc.SetWriteDeadline(time.Now().Add(writeTimeout)); err != nil {
			break
		}
		var m int
		m, err = p.ResponseWriter.Write(b[:min(len(b), piece)])
		n, b = n+m, b[m:]
	}
	return n, err
}

// Unwrap lets the server reach the connection's own writer.
func (p *patient) Unwrap() http.ResponseWriter { return p.ResponseWriter }
