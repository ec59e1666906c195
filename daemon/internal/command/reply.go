package command

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"time"
)

// Reply is the answer to a command, on reply/<client>/<id>.
type Reply struct {
	Version int    `json:"version"`
	ID      string `json:"id"`
	Command string `json:"command"`
	Result  string `json:"result"` // done or refused
	Reason  Reason `json:"reason,omitempty"`
	Message string `json:"message,omitempty"`
	// State is the payload of the topic state, for a snapshot.
	State json.RawMessage `json:"state,omitempty"`
	// Bundle says what was made, for the wish of a trend.
	Bundle *Bundle `json:"bundle,omitempty"`
	// Tried says what became of a test alert on each way to each person.
	Tried []Tried `json:"tried,omitempty"`
}

// Tried is what became of the test of one way to a person.
type Tried struct {
	Person    string `json:"person"`
	Transport string `json:"transport"`
	Sent      bool   `json:"sent"` // the next station took it
	Error     string `json:"error,omitempty"`
	// Asked says that an acknowledgement was waited for, and Acknowledged that it came, after
	// so many seconds.
	Asked        bool    `json:"asked"`
	Acknowledged bool    `json:"acknowledged"`
	Seconds      float64 `json:"seconds,omitempty"`
}

// Bundle is what was made of a wish.
type Bundle struct {
	ID       string    `json:"sha256"`
	Size     int64     `json:"size"`
	From     time.Time `json:"from"`
	To       time.Time `json:"to"`
	FullFrom time.Time `json:"full_rate_from"`
}

// Answer begins the reply to a command that was carried out.
func (r *Request) Answer() Reply {
	return Reply{Version: Version, ID: r.ID, Command: string(r.Name), Result: "done"}
}

// Refused is the reply to a command that was not.
func (r *Request) Refused(why *Refusal) Reply {
	a := r.Answer()
	a.Result, a.Reason, a.Message = "refused", why.Reason, why.Words
	// The name may be anything.
	if payload[r.Name] == nil {
		a.Command = "unknown"
	}
	return a
}

// Topic is where the reply to a command goes, below the site's root. One that does not say
// who asks is answered where everybody can read it.
func (r *Request) Topic() string {
	if r.Client == "" || r.ID == "" {
		return "reply/unaddressed"
	}
	return "reply/" + r.Client + "/" + r.ID
}

// Chunk is a piece of a bundle, on reply/<client>/<id>/chunk: this as JSON, a line feed, and
// the bytes.
type Chunk struct {
	Version int    `json:"version"`
	ID      string `json:"id"` // of the command
	Bundle  string `json:"sha256"`
	Size    int64  `json:"size"` // of the whole
	Offset  int64  `json:"offset"`
	Length  int    `json:"length"`
	// Last is set on the last chunk that the command brings.
	Last bool   `json:"last,omitempty"`
	Data []byte `json:"-"`
}

// Encode writes a chunk.
func (c *Chunk) Encode() ([]byte, error) {
	c.Version, c.Length = Version, len(c.Data)
	head, err := json.Marshal(c)
	if err != nil {
		return nil, fmt.Errorf("write chunk: %w", err)
	}
	return append(append(head, '\n'), c.Data...), nil
}

var errChunk = errors.New("it is no chunk of a bundle")

// DecodeChunk reads one.
func DecodeChunk(b []byte) (c Chunk, err error) {
	head, data, ok := bytes.Cut(b, []byte("\n"))
	if !ok || json.Unmarshal(head, &c) != nil || c.Version != Version || !hexSum.MatchString(c.Bundle) ||
		c.Length != len(data) || c.Offset < 0 || c.Size <= 0 || c.Offset > c.Size-int64(len(data)) {
		return c, errChunk
	}
	c.Data = data
	return c, nil
}
