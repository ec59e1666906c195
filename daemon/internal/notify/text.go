package notify

import (
	"fmt"
	"strings"
	"time"
	"unicode/utf8"

	"fluewright/analysis/alarm"
)

// Disclaimer ends every message.
const Disclaimer = "This is no fire or CO alarm; if in doubt leave and call the fire service."

const (
	// lockScreen is how much of a message a locked telephone shows, in characters
	// (common practice, no source).
	lockScreen = 100
	// longest is the most that a text has, in bytes: push servers make an attachment of
	// what is over 4,096.
	longest = 3500
	// listed is how many alarms a text goes into.
	listed = 6
)

// Letter is a message in words.
type Letter struct {
	Message
	// Title says what, where and since when in 100 characters.
	Title string
	// Body says all of it, with what to do first, and ends in the Disclaimer.
	Body string
	// Token acknowledges what the message asks for; empty where it asks for nothing.
	Token string
}

// Write puts a message into words.
func Write(m Message, token string) Letter {
	return Letter{Message: m, Title: title(&m), Body: body(&m), Token: token}
}

func title(m *Message) string {
	if m.Kind == Test {
		return cut("Test message of the furnace monitor - "+m.Site, lockScreen)
	}
	if len(m.Lines) == 0 {
		return ""
	}
	lead := &m.Lines[0]
	before := lead.word(m) + ": "
	after := " - " + m.Site + ", " + lead.span(m)
	if more := len(m.Lines) - 1; more > 0 {
		after += fmt.Sprintf(" (+%d)", more)
	}
	room := lockScreen - utf8.RuneCountInString(before+after)
	what := strings.Join(strings.Fields(lead.Text.What), " ") // a title is one line
	return before + cut(what, max(room, 20)) + after
}

// word is how a line begins.
func (l *Line) word(m *Message) string {
	switch {
	case l.State == "over" && len(m.Standing) > 0:
		return "Over, but OTHERS STAND" // a locked telephone shows no more
	case l.State == "over":
		return "Over"
	case l.State == "came-and-went":
		return "Came and went, not told in time"
	case m.Kind == Reminder:
		return "STILL ALARM"
	case l.Priority == alarm.High:
		return "ALARM"
	case l.Priority == alarm.Medium:
		return "Warning"
	default:
		return "Notice"
	}
}

// span is when it was.
func (l *Line) span(m *Message) string {
	text := "since " + clock(l.Since, m.At)
	if !l.Until.IsZero() {
		text = clock(l.Since, m.At) + " to " + clock(l.Until, m.At)
	}
	if l.Times > 1 {
		text += fmt.Sprintf(", %d times", l.Times)
	}
	return text
}

// clock writes a time, with the day where it is not that of now.
func clock(t, now time.Time) string {
	t = t.In(now.Location())
	if y, d := t.Year(), t.YearDay(); y == now.Year() && d == now.YearDay() {
		return t.Format("15:04")
	}
	return t.Format("Mon 2 Jan 15:04")
}

func body(m *Message) string {
	var b strings.Builder
	if m.Kind == Test {
		fmt.Fprintf(&b, "%s at %s asks whether messages reach you. ", clock(m.At, m.At), m.Site)
		b.WriteString("If there is a button to acknowledge, press it. This says nothing of the furnace.\n")
	}
	if m.Kind == Summary {
		fmt.Fprintf(&b, "This could not be delivered before %s. The times are those of the furnace.\n", clock(m.At, m.At))
	}
	if !m.Trusted {
		b.WriteString("The monitor's clock is not known to be right, so times may be wrong.\n")
	}
	for i := range m.Lines {
		if i == listed {
			fmt.Fprintf(&b, "And %d more.\n", len(m.Lines)-listed)
			break
		}
		m.Lines[i].write(&b, m)
	}
	for i := range m.Standing {
		l := &m.Standing[i]
		if i == listed {
			fmt.Fprintf(&b, "And %d more that stand.\n", len(m.Standing)-listed)
			break
		}
		fmt.Fprintf(&b, "Still there: %s, %s%s.\n", l.Text.What, l.span(m), l.state())
	}
	if m.Kind == Over && len(m.Standing) == 0 {
		b.WriteString("Only this is over: look at the furnace before you rely on it.\n")
	}
	text := b.String()
	if len(text) > longest {
		text = text[:longest]
		for !utf8.ValidString(text) {
			text = text[:len(text)-1]
		}
		text += "…\n"
	}
	return text + Disclaimer
}

// write writes what is new of an alarm: what to do stands in a paragraph of its own.
func (l *Line) write(b *strings.Builder, m *Message) {
	fmt.Fprintf(b, "%s: %s at %s, %s%s.\n", l.word(m), l.Text.What, m.Site, l.span(m), l.state())
	if l.State == "raised" || l.State == "acknowledged" {
		if l.Text.Action != "" {
			b.WriteString("Do first: " + l.Text.Action + "\n")
		}
	}
}

func (l *Line) state() string {
	switch l.State {
	case "acknowledged":
		return ", acknowledged"
	case "set-aside":
		return ", set aside"
	}
	return ""
}

// cut shortens a text to so many characters.
func cut(text string, most int) string {
	runes := []rune(text)
	if len(runes) <= most {
		return text
	}
	return string(runes[:most-1]) + "…"
}
