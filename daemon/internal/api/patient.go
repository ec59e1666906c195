package api

import (
	"net/http"
	"time"
)

// pieceTimeout is how long a reader may take for one piece.
const pieceTimeout = 10 * time.Second

// Patient gives every piece of a long answer its own time: the whole may take hours over a
// bad line, and a reader who takes nothing is given up all the same.
func Patient(w http.ResponseWriter) http.ResponseWriter {
	return &patient{w, http.NewResponseController(w)}
}

type patient struct {
	http.ResponseWriter
	rc *http.ResponseController
}

// Write is one piece.
func (p *patient) Write(b []byte) (n int, err error) {
	const piece = 32 << 10
	for len(b) > 0 && err == nil {
		if err = p.rc.SetWriteDeadline(time.Now().Add(pieceTimeout)); err != nil {
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
