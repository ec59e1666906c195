// Package command reads what is asked of the monitor from elsewhere, and refuses what
// must not be carried out: whatever is malformed, too large, too old, retained or a repeat,
// and more than a person could ask. It carries nothing out itself. No command can change a
// limit, put a kind of alarm to silence or actuate anything: there is none that says so.
package command

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"regexp"
	"slices"
	"strings"
	"time"
	"unicode"

	"fluewright/analysis/alarm"
	"fluewright/analysis/frame"
	"fluewright/daemon/internal/handout"
)

// Version is that of commands and replies.
const Version = 1

// The limits of a command.
const (
	MaxBytes = 8 << 10
	// longestLife is what may lie between issued_at and expires_at: within it repeats are
	// known.
	longestLife = 10 * time.Minute
	// ahead is how far the asker's clock may be before ours.
	ahead     = 2 * time.Minute
	maxText   = 1000 // characters of a note
	maxAuthor = 64
	// MaxLease bounds live telemetry.
	MaxLease = 5 * time.Minute
	// MaxChunks bounds what one command brings of a bundle.
	MaxChunks = 16
)

// Name is what is asked for: the last part of the topic.
type Name string

// The commands.
const (
	Acknowledge Name = "acknowledge" // one occurrence of an alarm was taken by a person
	Note        Name = "note"        // an entry of the log: fuel, moisture, upkeep
	Snapshot    Name = "snapshot"    // the state now
	Live        Name = "live"        // telemetry each second, for a while
	Trend       Name = "trend"       // a bundle of a window, or a piece of one
	TestAlert   Name = "test-alert"  // a test through every way in which people are told
)

// Request is a command that is well formed.
type Request struct {
	Name Name `json:"-"`

	Version int `json:"version"`
	// ID is the asker's own for this command: 8 to 64 of A-Z, a-z, 0-9, '-' and '_'.
	ID string `json:"id"`
	// Client is the asker's client identifier at the broker; the reply goes to
	// reply/<client>/<id>.
	Client    string    `json:"client"`
	IssuedAt  time.Time `json:"issued_at"`
	ExpiresAt time.Time `json:"expires_at"`
	By        string    `json:"by,omitempty"` // who asks, for the record

	// What goes with the name; there is no other.
	Acknowledge *Occurrence `json:"acknowledge,omitempty"`
	Note        *Entry      `json:"note,omitempty"`
	Live        *Lease      `json:"live,omitempty"`
	Trend       *Window     `json:"trend,omitempty"`
}

// Occurrence is one occurrence of an alarm, as alarm/<name> tells it.
type Occurrence struct {
	Alarm      string `json:"alarm"`
	Channel    string `json:"channel,omitempty"`
	Occurrence uint32 `json:"occurrence"`
}

// Key is the alarm's key. It was checked.
func (o *Occurrence) Key() alarm.Key {
	k := alarm.Key{Name: alarm.Name(o.Alarm), Channel: frame.Count}
	if c, ok := frame.Parse(o.Channel); ok {
		k.Channel = c
	}
	return k
}

// Entry is what somebody did or knows.
type Entry struct {
	// Kind is fuel, moisture, other, or a job of upkeep that was done: sweeping, ash, filter,
	// probes, gasket, inspection.
	Kind      string   `json:"kind"`
	Wood      string   `json:"wood,omitempty"`
	Kilograms *float64 `json:"kilograms,omitempty"`
	Moisture  *float64 `json:"moisture,omitempty"` // share of the wet mass
	Text      string   `json:"text,omitempty"`
}

// Lease is how long telemetry is sent each second.
type Lease struct {
	Seconds int `json:"seconds"`
}

// Window is the wish for a bundle, or a piece of one that was made.
type Window struct {
	Wish *handout.Form `json:"wish,omitempty"`

	Bundle string `json:"bundle,omitempty"` // its SHA-256
	Offset int64  `json:"offset,omitempty"`
	Chunks int    `json:"chunks,omitempty"`
}

// Reason says why a command is refused.
type Reason string

// The reasons.
const (
	Retained  Reason = "retained"
	Oversized Reason = "oversized"
	Malformed Reason = "malformed"
	Unknown   Reason = "unknown"
	Expired   Reason = "expired"
	Repeated  Reason = "repeated"
	Flooded   Reason = "flooded" // too many: no reply
	Busy      Reason = "busy"
	Stale     Reason = "stale"   // the occurrence is not the latest, or was taken already
	Gone      Reason = "gone"    // the bundle is not kept any more
	Nothing   Reason = "nothing" // there is nothing of the kind
	Storage   Reason = "storage"
	TooOften  Reason = "too-often" // it was asked for a few times within the hour
)

// Refusal says why not, in words too.
type Refusal struct {
	Reason Reason
	Words  string
}

// Error is the words.
func (r *Refusal) Error() string { return r.Words }

// Refuse makes a refusal.
func Refuse(why Reason, format string, args ...any) *Refusal {
	return &Refusal{why, fmt.Sprintf(format, args...)}
}

var (
	word    = regexp.MustCompile(`^[A-Za-z0-9_-]{8,64}$`)
	hexSum  = regexp.MustCompile(`^[0-9a-f]{64}$`)
	kinds   = []string{"fuel", "moisture", "sweeping", "ash", "filter", "probes", "gasket", "inspection", "other"}
	payload = map[Name]func(*Request) bool{
		Acknowledge: func(r *Request) bool { return r.Acknowledge != nil },
		Note:        func(r *Request) bool { return r.Note != nil },
		Live:        func(r *Request) bool { return r.Live != nil },
		Trend:       func(r *Request) bool { return r.Trend != nil },
		Snapshot:    func(*Request) bool { return true },
		TestAlert:   func(*Request) bool { return true },
	}
)

// Decode reads a command. What it could read of one that it refuses is returned too, so that
// the asker can be told: ID and Client are then well formed or empty. It is strict: a member
// that it does not know may be what the asker cares for.
func Decode(name string, body []byte) (r Request, refused *Refusal) {
	r.Name = Name(name)
	if len(body) > MaxBytes {
		return r, Refuse(Oversized, "a command has at most %d bytes, and this one %d", MaxBytes, len(body))
	}
	d := json.NewDecoder(bytes.NewReader(body))
	d.DisallowUnknownFields()
	err := d.Decode(&r)
	if err == nil {
		if _, end := d.Token(); !errors.Is(end, io.EOF) {
			err = errors.New("something comes behind it")
		}
	}
	if !word.MatchString(r.ID) || !word.MatchString(r.Client) {
		r.ID, r.Client = "", ""
		if err == nil {
			err = errors.New("id and client are each 8 to 64 of A-Z, a-z, 0-9, - and _")
		}
	}
	if payload[r.Name] == nil {
		return r, Refuse(Unknown, "there is no such command: there are acknowledge, note, snapshot, live, trend and test-alert")
	}
	if err == nil {
		err = r.check()
	}
	if err != nil {
		return r, Refuse(Malformed, "the command cannot be read: %v", err)
	}
	return r, nil
}

func (r *Request) check() error {
	others := 0
	for _, there := range []bool{r.Acknowledge != nil, r.Note != nil, r.Live != nil, r.Trend != nil} {
		if there {
			others++
		}
	}
	switch {
	case r.Version != Version:
		return fmt.Errorf("version is %d; this monitor reads %d", r.Version, Version)
	case !payload[r.Name](r):
		return fmt.Errorf("the member %q is missing", r.Name)
	case (r.Name == Snapshot || r.Name == TestAlert) && others > 0 || others > 1:
		return errors.New("there are members of another command")
	case !plain(r.By, maxAuthor):
		return fmt.Errorf("by has more than %d characters, or some that cannot be seen", maxAuthor)
	case r.IssuedAt.IsZero() || r.ExpiresAt.IsZero() || r.ExpiresAt.Before(r.IssuedAt):
		return errors.New("issued_at and expires_at are missing, or in the wrong order")
	case r.ExpiresAt.Sub(r.IssuedAt) > longestLife:
		return fmt.Errorf("a command lives at most %v", longestLife)
	}
	switch r.Name {
	case Acknowledge:
		return r.Acknowledge.check()
	case Note:
		return r.Note.Check()
	case Live:
		if n := r.Live.Seconds; n < 1 || n > int(MaxLease.Seconds()) {
			return fmt.Errorf("seconds is %d; want 1 to %d", n, int(MaxLease.Seconds()))
		}
	case Trend:
		return r.Trend.check()
	}
	return nil
}

func (o *Occurrence) check() error {
	if o.Channel != "" {
		if _, ok := frame.Parse(o.Channel); !ok {
			return fmt.Errorf("there is no channel %.20q", o.Channel)
		}
	}
	if o.Alarm == "" || len(o.Alarm) > 40 || o.Occurrence == 0 {
		return errors.New("alarm and occurrence are wanted, as alarm/<name> tells them")
	}
	return nil
}

// Check says in words what cannot be taken.
func (e *Entry) Check() error {
	switch {
	case !slices.Contains(kinds, e.Kind):
		return fmt.Errorf("kind is one of %s", strings.Join(kinds, ", "))
	case !plain(e.Wood, maxAuthor):
		return fmt.Errorf("wood has more than %d characters, or some that cannot be seen", maxAuthor)
	case !plain(e.Text, maxText):
		return fmt.Errorf("text has more than %d characters, or some that cannot be seen", maxText)
	case e.Kilograms != nil && !(*e.Kilograms > 0 && *e.Kilograms <= 10_000):
		return errors.New("kilograms is not within 0 to 10000")
	case e.Moisture != nil && !(*e.Moisture >= 0 && *e.Moisture < 1):
		return errors.New("moisture is a share of the wet mass: 0.18 is 18 %")
	case e.Kind == "moisture" && e.Moisture == nil:
		return errors.New("moisture is missing")
	case e.Kind != "fuel" && e.Kind != "moisture" && (e.Wood != "" || e.Kilograms != nil || e.Moisture != nil):
		return errors.New("wood, kilograms and moisture go with fuel or moisture")
	case e.Kind == "other" && e.Text == "":
		return errors.New("text is missing")
	}
	return nil
}

// Number is the value of a member that may be missing: NaN then.
func Number(v *float64) float64 {
	if v == nil {
		return math.NaN()
	}
	return *v
}

func (w *Window) check() error {
	switch {
	case w.Wish != nil && (w.Bundle != "" || w.Offset != 0 || w.Chunks != 0):
		return errors.New("a wish and a piece of a bundle are two commands")
	case w.Wish != nil:
		_, err := w.Wish.Wish()
		return err
	case !hexSum.MatchString(w.Bundle):
		return errors.New("wish, or bundle with its SHA-256, is wanted")
	case w.Offset < 0 || w.Chunks < 1 || w.Chunks > MaxChunks:
		return fmt.Errorf("offset is not negative, and chunks 1 to %d", MaxChunks)
	}
	return nil
}

// plain reports whether a text is short and can be seen.
func plain(s string, most int) bool {
	return len(s) <= 4*most && len([]rune(s)) <= most && strings.IndexFunc(s, func(r rune) bool { return !unicode.IsPrint(r) }) < 0
}
