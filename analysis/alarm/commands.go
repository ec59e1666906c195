package alarm

import (
	"errors"
	"fmt"
	"time"
	"unicode"
	"unicode/utf8"
)

// Errors of commands.
var (
	ErrNoSuchAlarm = errors.New("the site has no such alarm")
	// ErrOtherOccurrence: the alarm was raised anew since, or not yet so often.
	ErrOtherOccurrence = errors.New("the alarm is at another occurrence")
	ErrNotShelvable    = errors.New("an alarm of high priority cannot be shelved")
	ErrNotShelved      = errors.New("the alarm is not shelved")
)

// MaxShelf is the longest that an alarm can be shelved at once: a day, so that somebody
// looks at it again (common practice, no source).
const MaxShelf = 24 * time.Hour

// maxName is the longest name of whoever shelves, in bytes.
const maxName = 64

// Acknowledge says that a person has taken an occurrence of an alarm, standing or over.
// To say it twice is no error; to say it of another occurrence than the latest is, so that
// nobody takes what they have not seen.
func (a *Annunciator) Acknowledge(k Key, occurrence uint32) error {
	i := a.find(k)
	if i < 0 {
		return fmt.Errorf("acknowledge %s: %w", k, ErrNoSuchAlarm)
	}
	p := &a.points[i]
	s := p.status
	switch {
	case occurrence == 0 || occurrence != s.Occurrence:
		return fmt.Errorf("acknowledge %s: %w: it is %d, not %d", k, ErrOtherOccurrence, s.Occurrence, occurrence)
	case s.Acknowledged:
		return nil
	}
	s.Acknowledged = true
	switch s.State {
	case Raised:
		a.enter(p, Acknowledged, WasAcknowledged)
	case Returned:
		a.enter(p, Normal, WasAcknowledged)
	default:
		a.tell(p, WasAcknowledged)
	}
	return nil
}

// Shelve puts an alarm aside for a time, up to MaxShelf, in the name of by; again, with a
// new end. Whether its condition holds is followed all the while. An alarm of high
// priority cannot be shelved: minutes count, and whoever has seen it acknowledges it.
func (a *Annunciator) Shelve(k Key, d time.Duration, by string) error {
	i := a.find(k)
	if i < 0 {
		return fmt.Errorf("shelve %s: %w", k, ErrNoSuchAlarm)
	}
	p := &a.points[i]
	switch {
	case p.status.Priority >= High:
		return fmt.Errorf("shelve %s: %w", k, ErrNotShelvable)
	case d <= 0 || d > MaxShelf:
		return fmt.Errorf("shelve %s for %v: it is more than nothing and at most %v", k, d, MaxShelf)
	case !named(by):
		return fmt.Errorf("shelve %s: a name of 1 to %d printable bytes says who does it", k, maxName)
	}
	p.shelved, p.end = true, a.clock.now+min(d, longestStep)
	p.status.ShelvedBy, p.status.SuppressedBy = by, ""
	p.status.ShelvedUntil = a.clock.frames(p.end)
	a.enter(p, Shelved, WasShelved)
	a.closeEpisodes()
	return nil
}

// Unshelve ends a shelf: the alarm is raised if its condition holds.
func (a *Annunciator) Unshelve(k Key) error {
	i := a.find(k)
	if i < 0 {
		return fmt.Errorf("unshelve %s: %w", k, ErrNoSuchAlarm)
	}
	p := &a.points[i]
	if !p.shelved {
		return fmt.Errorf("unshelve %s: %w", k, ErrNotShelved)
	}
	p.shelved = false
	a.release(p)
	a.settle(p)
	return nil
}

// named reports whether by can stand for a person in logs and messages.
func named(by string) bool {
	if by == "" || len(by) > maxName || !utf8.ValidString(by) {
		return false
	}
	for _, r := range by {
		if !unicode.IsPrint(r) {
			return false
		}
	}
	return true
}
