package config

import (
	"cmp"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"github.com/pelletier/go-toml/v2/unstable"
)

// table reads the keys of one table and remembers which were asked for: in the end the
// others are mistakes.
type table struct {
	*problems
	path  string // "appliance"; empty at the root
	line  int
	keys  *node
	known []string
}

// given is a value with where it comes from.
type given[T any] struct {
	value T
	line  int  // 0: the default
	wrong bool // it is in the file and no good; value is the default
}

// ok reports whether judging the value further makes sense.
func (g given[T]) ok() bool { return !g.wrong }

func newTable(p *problems, path string, n *node) *table {
	return &table{problems: p, path: path, line: n.line, keys: n}
}

// name is a key as messages write it.
func (t *table) name(key string) string {
	if t.path == "" {
		return key
	}
	return t.path + "." + key
}

func (t *table) take(key string) *node {
	t.known = append(t.known, key)
	return t.keys.keys[key]
}

// table returns the table under key, an empty one if there is none, so that defaults and
// the list of known keys come from the same reading.
func (t *table) table(key string) *table {
	n := t.take(key)
	if n != nil && !n.table() {
		t.at(n.line, "%s is %s; it is a table, write [%s] once and its keys below", t.name(key), n.what(), t.name(key))
		n = nil
	}
	if n == nil {
		n = &node{kind: unstable.Table}
	}
	return newTable(t.problems, t.name(key), n)
}

// text reads a string. check says what is wrong with it and what would be right.
func (t *table) text(key, fallback string, check func(string) error) given[string] {
	n := t.take(key)
	if n == nil {
		return given[string]{value: fallback}
	}
	if n.kind != unstable.String {
		t.at(n.line, "%s is %s; it is a text in quotes", t.name(key), n.what())
		return given[string]{fallback, n.line, true}
	}
	if err := check(n.text); err != nil {
		t.at(n.line, "%s: %v", t.name(key), err)
		return given[string]{fallback, n.line, true}
	}
	return given[string]{value: n.text, line: n.line}
}

// choice reads a text that is one of a few.
func (t *table) choice(key, fallback string, of []string) given[string] {
	return t.text(key, fallback, func(s string) error {
		if slices.Contains(of, s) {
			return nil
		}
		return fmt.Errorf("%q is unknown; %s", s, oneOf(of))
	})
}

// integer reads a whole number that is one of a few.
func (t *table) integer(key string, fallback int, of []int, base string) given[int] {
	n := t.take(key)
	if n == nil {
		return given[int]{value: fallback}
	}
	if n.kind == unstable.Integer {
		v, err := strconv.ParseInt(n.text, 0, 32)
		if err == nil && slices.Contains(of, int(v)) {
			return given[int]{value: int(v), line: n.line}
		}
	}
	choices := make([]string, len(of))
	for i, v := range of {
		choices[i] = fmt.Sprintf(base, v)
	}
	t.at(n.line, "%s is %s; it is a whole number, %s", t.name(key), n.what(), strings.Join(choices, " or "))
	return given[int]{fallback, n.line, true}
}

// span is what a quantity may be and what it is by default, as the file writes it:
// messages quote the same text that is judged by.
type span struct{ fallback, low, high string }

// quantity reads a number with its unit. A bare number is refused although its unit could
// be guessed: a limit of 1000 is one thing in °F and another in °C.
func quantity[T cmp.Ordered](t *table, key string, parse func(string) (T, error), s span) given[T] {
	must := func(text string) T {
		v, err := parse(text)
		if err != nil {
			panic(err) // a span is part of the program
		}
		return v
	}
	g := given[T]{}
	if s.fallback != "" {
		g.value = must(s.fallback)
	}
	n := t.take(key)
	if n == nil {
		return g
	}
	g.line, g.wrong = n.line, true
	switch n.kind {
	case unstable.String:
	case unstable.Integer, unstable.Float:
		t.at(n.line, "%s: %s has no unit; write it like %q", t.name(key), n.text, cmp.Or(s.fallback, s.low))
		return g
	default:
		t.at(n.line, "%s is %s; write it like %q", t.name(key), n.what(), cmp.Or(s.fallback, s.low))
		return g
	}
	v, err := parse(n.text)
	switch {
	case err != nil:
		t.at(n.line, "%s: %v", t.name(key), err)
	case v < must(s.low) || v > must(s.high):
		t.at(n.line, "%s: %q is out of range; it is from %s to %s", t.name(key), n.text, s.low, s.high)
	default:
		g.value, g.wrong = v, false
	}
	return g
}

// refuse reports a key that must not be there, whatever its value, with the reason.
func (t *table) refuse(key, reason string) {
	if n := t.keys.keys[key]; n != nil {
		t.known = append(t.known, key)
		t.at(n.line, "%s: %s", t.name(key), reason)
	}
}

// done reports every key that nobody asked for. Names are compared letter by letter: a
// decoder into Go types would take NAME for name.
func (t *table) done() {
	for _, key := range t.keys.names() {
		if !slices.Contains(t.known, key) {
			t.at(t.keys.keys[key].line, "%s is not a key; %s", t.name(key), suggest(key, t.known))
		}
	}
}

// what says what a value is, for somebody who knows no TOML.
func (n *node) what() string {
	switch n.kind {
	case unstable.String:
		return "the text " + strconv.Quote(n.text)
	case unstable.Integer, unstable.Float:
		return "the number " + n.text
	case unstable.Bool:
		return n.text
	case unstable.Array, unstable.ArrayTable:
		if len(n.items) == 0 {
			return "an empty list"
		}
		return "a list"
	case unstable.Table, unstable.InlineTable:
		return "a table"
	default:
		return "the time " + n.text
	}
}

// oneOf lists what is allowed, two things or more.
func oneOf(choices []string) string {
	quoted := make([]string, len(choices))
	for i, c := range choices {
		quoted[i] = strconv.Quote(c)
	}
	last := len(quoted) - 1
	return "it is " + strings.Join(quoted[:last], ", ") + " or " + quoted[last]
}
