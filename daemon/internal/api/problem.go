package api

import (
	"encoding/json"
	"net/http"
)

// Problem says why there is no answer: RFC 9457.
type Problem struct {
	Type   string `json:"type"`
	Title  string `json:"title"`
	Status int    `json:"status"`
	Detail string `json:"detail"`
}

// Refuse answers with a problem.
func Refuse(w http.ResponseWriter, code int, detail string) {
	h := w.Header()
	h.Set("Content-Type", "application/problem+json")
	h.Set("Cache-Control", "no-store")
	h.Del("Content-Disposition")
	w.WriteHeader(code)
	// Whoever asked may have gone.
	_ = json.NewEncoder(w).Encode(Problem{Type: "about:blank", Title: http.StatusText(code), Status: code, Detail: detail})
}
