package web

import (
	"net"
	"net/http"
	"slices"
	"strings"
	"time"
)

// policy allows what the page brings itself and nothing else.
const policy = "default-src 'none'; style-src 'self'; script-src 'self'; img-src 'self' data:; " +
	"connect-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'"

// guard refuses requests that a page elsewhere could have made a browser send, and sets
// the headers that bind the browser.
func guard(names []string, next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		h := w.Header()
		h.Set("Content-Security-Policy", policy)
		h.Set("X-Content-Type-Options", "nosniff")
		h.Set("Referrer-Policy", "no-referrer")
		if !ours(r, names) {
			http.Error(w, "This name is not one of this monitor's. Use its address, or add the name to the configuration.", http.StatusMisdirectedRequest)
			return
		}
		if r.ContentLength != 0 {
			// No route takes a body, and the server would wait for it.
			h.Set("Connection", "close")
			_ = http.NewResponseController(w).SetReadDeadline(time.Now().Add(time.Second))
			http.Error(w, "Nothing can be sent here.", http.StatusBadRequest)
			return
		}
		next.ServeHTTP(w, r)
	})
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
