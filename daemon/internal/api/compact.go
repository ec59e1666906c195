package api

import (
	"bytes"
	"compress/gzip"
	"crypto/sha256"
	"encoding/hex"
	"io"
	"net/http"
	"strconv"
	"strings"
	"sync"
)

// leastCompressed is below what compressing is not worth it, bytes.
const leastCompressed = 1000

// Compact gives an answer its entity tag, says that nothing changed where that is so, and
// compresses it. It holds the whole answer: it is not for what is long or has no end.
func Compact(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		held := &held{header: w.Header(), code: http.StatusOK}
		next.ServeHTTP(held, r)
		held.send(w, r)
	})
}

// held is an answer that is not sent yet.
type held struct {
	header http.Header
	code   int
	body   bytes.Buffer
}

// Header is the answer's.
func (h *held) Header() http.Header { return h.header }

// WriteHeader keeps the code.
func (h *held) WriteHeader(code int) { h.code = code }

// Write keeps the body.
func (h *held) Write(b []byte) (int, error) { return h.body.Write(b) }

func (h *held) send(w http.ResponseWriter, r *http.Request) {
	body := h.body.Bytes()
	if h.code == http.StatusOK {
		if h.header.Get("Cache-Control") == "" {
			h.header.Set("Cache-Control", "private, no-cache") // it may be kept, and is asked about each time
		}
		sum := sha256.Sum256(body)
		tag := hex.EncodeToString(sum[:12])
		h.header.Add("Vary", "Accept-Encoding")
		zip := len(body) >= leastCompressed && accepts(r, "gzip")
		if zip {
			tag += "-gzip" // other bytes, another tag: RFC 9110, 8.8.3.3
		}
		h.header.Set("ETag", `"`+tag+`"`)
		if matches(r.Header.Values("If-None-Match"), tag) {
			h.header.Del("Content-Type")
			w.WriteHeader(http.StatusNotModified)
			return
		}
		if zip {
			h.header.Set("Content-Encoding", "gzip")
			body = compressed(body)
		}
	}
	h.header.Set("Content-Length", strconv.Itoa(len(body)))
	w.WriteHeader(h.code)
	_, _ = w.Write(body) // whoever asked may have gone
}

var compressors = sync.Pool{New: func() any {
	z, _ := gzip.NewWriterLevel(io.Discard, gzip.BestSpeed) // the level exists
	return z
}}

func compressed(body []byte) []byte {
	var b bytes.Buffer
	z := compressors.Get().(*gzip.Writer)
	defer compressors.Put(z)
	z.Reset(&b)
	_, _ = z.Write(body) // a buffer takes everything
	_ = z.Close()
	return b.Bytes()
}

// accepts reports whether a request names a coding and does not refuse it.
func accepts(r *http.Request, coding string) bool {
	for part := range strings.SplitSeq(strings.Join(r.Header.Values("Accept-Encoding"), ","), ",") {
		name, parameters, _ := strings.Cut(strings.TrimSpace(part), ";")
		if !strings.EqualFold(strings.TrimSpace(name), coding) {
			continue
		}
		weight := strings.TrimSpace(parameters)
		if len(weight) < 2 || !strings.EqualFold(weight[:2], "q=") {
			return true
		}
		q, err := strconv.ParseFloat(weight[2:], 64)
		return err == nil && q > 0
	}
	return false
}

// matches reports whether a list of entity tags has one, or any ("*").
func matches(lists []string, tag string) bool {
	for part := range strings.SplitSeq(strings.Join(lists, ","), ",") {
		part = strings.TrimPrefix(strings.TrimSpace(part), "W/")
		if part == "*" || part == `"`+tag+`"` {
			return true
		}
	}
	return false
}
