package web

import (
	"context"
	"errors"
	"net/http"
	"strconv"
	"time"

	"fluewright/daemon/internal/api"
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
	http.ServeContent(api.Patient(w), r, "", time.Time{}, file)
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
