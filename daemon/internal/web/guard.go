package web

import (
	"bytes"
	"errors"
	"io"
	"net"
	"net/http"
	"slices"
	"strings"
	"time"

	"fluewright/daemon/internal/access"
)

// policy allows what the page brings itself and nothing else.
const policy = "default-src 'none'; style-src 'self'; script-src 'self'; img-src 'self' data:; " +
	"connect-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'"

// What may be sent: forms, within a short time.
const (
	maxBody     = 64 << 10
	bodyTimeout = 10 * time.Second
)

// guard refuses requests that a page elsewhere could have made a browser send, and what is
// too much or too slow, and sets the headers that bind the browser.
func guard(names []string, next http.Handler) http.Handler {
	crossOrigin := http.NewCrossOriginProtection()
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		h := w.Header()
		h.Set("Content-Security-Policy", policy)
		h.Set("X-Content-Type-Options", "nosniff")
		// Not no-referrer: with that, browsers send the forms of our own pages with the
		// origin "null".
		h.Set("Referrer-Policy", "same-origin")
		h.Set("Cross-Origin-Resource-Policy", "same-origin")
		h.Set("Permissions-Policy", "camera=(), geolocation=(), microphone=()")
		if r.TLS != nil { // elsewhere browsers know it not, and complain
			h.Set("Cross-Origin-Opener-Policy", "same-origin")
		}
		switch {
		case !ours(r, names):
			stop(w, r, http.StatusMisdirectedRequest, "This name is not one of this monitor's. Use its address, or add the name to the configuration.")
		case safe(r) && fromElsewhere(r):
			stop(w, r, http.StatusForbidden, "A page elsewhere must not ask for this.")
		case !safe(r) && (crossOrigin.Check(r) != nil || !saysWhence(r) && !access.HasToken(r)):
			stop(w, r, http.StatusForbidden, "This did not come from one of this monitor's own pages. Load the page again, with its own address.")
		case safe(r) && r.ContentLength != 0:
			stop(w, r, http.StatusBadRequest, "Nothing can be sent here.")
		case r.ContentLength > maxBody:
			stop(w, r, http.StatusRequestEntityTooLarge, "This is too much to send.")
		default:
			if !take(w, r) {
				return
			}
			next.ServeHTTP(w, r)
		}
	})
}

// safe reports whether a request changes nothing.
func safe(r *http.Request) bool {
	return r.Method == http.MethodGet || r.Method == http.MethodHead || r.Method == http.MethodOptions
}

// fromElsewhere reports whether a browser says that another page makes it ask, other than by
// going to one of our pages. On plain HTTP browsers do not say; there it is the policy for
// resources, and that cookies stay at home, that keep others from reading.
func fromElsewhere(r *http.Request) bool {
	switch r.Header.Get("Sec-Fetch-Site") {
	case "", "same-origin", "none":
		return false
	}
	return r.Header.Get("Sec-Fetch-Mode") != "navigate" || r.Header.Get("Sec-Fetch-Dest") != "document" || strings.HasPrefix(r.URL.Path, "/api/")
}

// saysWhence reports whether a browser says where a request comes from: all do that send
// forms. Whoever does not say it might be carried by somebody's cookie, unless it shows a
// token, which no browser does by itself.
func saysWhence(r *http.Request) bool {
	return r.Header.Get("Origin") != "" || r.Header.Get("Sec-Fetch-Site") != ""
}

// stop answers before anything that is still to come has been read.
func stop(w http.ResponseWriter, r *http.Request, code int, words string) {
	if r.ContentLength != 0 {
		// The server would wait for it.
		w.Header().Set("Connection", "close")
		_ = http.NewResponseController(w).SetReadDeadline(time.Now().Add(time.Second))
	}
	w.Header().Set("Cache-Control", "no-store")
	http.Error(w, words, code)
}

// take reads what is sent, before anything is done with it: whoever sends it slowly holds
// nothing but a connection. It answers where there is too much or too little of it.
func take(w http.ResponseWriter, r *http.Request) bool {
	if r.ContentLength == 0 {
		return true
	}
	rc := http.NewResponseController(w)
	_ = rc.SetReadDeadline(time.Now().Add(bodyTimeout))
	body, err := io.ReadAll(http.MaxBytesReader(w, r.Body, maxBody))
	var tooMuch *http.MaxBytesError
	switch {
	case errors.As(err, &tooMuch):
		stop(w, r, http.StatusRequestEntityTooLarge, "This is too much to send.")
	case err != nil:
		stop(w, r, http.StatusRequestTimeout, "What was sent did not come.")
	default:
		_ = rc.SetReadDeadline(time.Time{})
		r.Body, r.ContentLength = io.NopCloser(bytes.NewReader(body)), int64(len(body))
		return true
	}
	return false
}

// ours reports whether the request names this server. A page elsewhere whose name is
// made to resolve to our address (DNS rebinding) sends its own name.
func ours(r *http.Request, names []string) bool {
	host := r.Host
	if h, _, err := net.SplitHostPort(host); err == nil {
		host = h
	}
	host = strings.TrimSuffix(strings.ToLower(strings.Trim(host, "[]")), ".")
	if ip := net.ParseIP(host); ip != nil {
		return ip.IsLoopback() || ip.Equal(reachedAt(r))
	}
	return host == "localhost" || slices.ContainsFunc(names, func(n string) bool {
		n = strings.ToLower(n)
		return host == n || host == n+".local"
	})
}

// reachedAt returns the address of ours that the connection came in on.
func reachedAt(r *http.Request) net.IP {
	if a, ok := r.Context().Value(http.LocalAddrContextKey).(*net.TCPAddr); ok {
		return a.IP
	}
	return nil
}
