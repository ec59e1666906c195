package config

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"unicode"
)

// Error is one mistake in a configuration file: what is wrong, and what would be right.
type Error struct {
	File string
	Line int // 1 is the first; 0 where the mistake is the whole file's
	// Column is set where the text is not TOML at all, in bytes, 1 being the first.
	Column int
	Text   string
}

// Error returns "file:line: text", as editors and people find it.
func (e Error) Error() string {
	switch {
	case e.Line == 0:
		return e.File + ": " + e.Text
	case e.Column == 0:
		return fmt.Sprintf("%s:%d: %s", e.File, e.Line, e.Text)
	default:
		return fmt.Sprintf("%s:%d:%d: %s", e.File, e.Line, e.Column, e.Text)
	}
}

// Errors is every mistake that was found, in the order of the file.
type Errors []Error

// Error returns one mistake a line.
func (e Errors) Error() string {
	lines := make([]string, len(e))
	for i, one := range e {
		lines[i] = one.Error()
	}
	return strings.Join(lines, "\n")
}

// problems collects mistakes while a file is read.
type problems struct {
	file string
	list Errors
}

func (p *problems) at(line int, format string, args ...any) {
	p.add(Error{Line: line, Text: fmt.Sprintf(format, args...)})
}

// add adds a mistake. A quoted key can hold anything, so what cannot be printed is
// blotted out: one mistake stays one line, and a terminal shows it as text.
func (p *problems) add(e Error) {
	e.File = p.file
	e.Text = strings.Map(func(r rune) rune {
		if !unicode.IsPrint(r) {
			return unicode.ReplacementChar
		}
		return r
	}, e.Text)
	p.list = append(p.list, e)
}

// err returns what was collected, or nil.
func (p *problems) err() error {
	if len(p.list) == 0 {
		return nil
	}
	slices.SortStableFunc(p.list, func(a, b Error) int { return cmp.Compare(a.Line, b.Line) })
	return p.list
}
