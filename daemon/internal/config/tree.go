package config

import (
	"bytes"
	"cmp"
	"errors"
	"regexp"
	"slices"
	"sort"
	"strings"

	"github.com/pelletier/go-toml/v2"
	"github.com/pelletier/go-toml/v2/unstable"
)

// node is one value of a TOML document with the line that it stands on, which decoding
// into Go types would lose.
type node struct {
	line int
	// kind is Table for a table with a header or one that a dotted key implies,
	// InlineTable, ArrayTable for [[…]], Array, or a scalar's.
	kind  unstable.Kind
	text  string           // a string's content, another scalar as it is written
	keys  map[string]*node // of a table
	items []*node          // of an array
	// headed is set once a table's own [header] was seen: a second one is a mistake.
	headed bool
}

// scanner turns a document into a tree.
type scanner struct {
	*problems
	parser unstable.Parser
	starts []int // offset of each line
}

// scan reads a document. Whatever is no TOML is added to the problems; if that is so
// bad that the rest cannot be read, the tree is nil.
func scan(data []byte, p *problems) *node {
	// Some editors begin a file with a byte-order mark; it says nothing.
	data = bytes.TrimPrefix(data, []byte("\xef\xbb\xbf"))
	s := &scanner{problems: p, starts: []int{0}}
	for i, b := range data {
		if b == '\n' {
			s.starts = append(s.starts, i+1)
		}
	}
	s.parser.Reset(data)
	root := &node{kind: unstable.Table, keys: map[string]*node{}}
	at := root
	for s.parser.NextExpression() {
		switch e := s.parser.Expression(); e.Kind {
		case unstable.Table, unstable.ArrayTable:
			at = s.open(root, e)
		default:
			s.set(at, e)
		}
	}
	if err := s.parser.Error(); err != nil {
		// The decoder says the same, with its position.
		if s.decode(data); len(s.list) == 0 {
			s.at(0, "%v", err)
		}
		return nil
	}
	// What is given twice was found above, all of it; the decoder would stop at the
	// first. It knows the rules that are not looked after here.
	if len(s.list) == 0 {
		s.decode(data)
	}
	return root
}

// decode adds what the real decoder, which knows every rule of the language, objects to.
func (s *scanner) decode(data []byte) {
	var decoded map[string]any
	err := toml.Unmarshal(data, &decoded)
	if err == nil {
		return
	}
	var at *toml.DecodeError
	if !errors.As(err, &at) {
		s.at(0, "%v", err)
		return
	}
	line, column := at.Position()
	text := strings.TrimPrefix(at.Error(), "toml: ")
	source := s.source(data, line)
	if q := bareQuantity.FindSubmatch(source); q != nil && !bytes.Contains(source, []byte("password")) {
		text = "a quantity with its unit stands in quotes; write \"" + string(q[1]) + "\""
	}
	s.add(Error{Line: line, Column: column, Text: text})
}

// bareQuantity is the mistake that everybody makes first: draft-low = 12 Pa.
var bareQuantity = regexp.MustCompile(`^[^=#"']*=\s*([+-]?[0-9]*\.?[0-9]+ *[A-Za-z°][A-Za-z0-9°.-]*)\s*(#.*)?$`)

// source is the text of a line.
func (s *scanner) source(data []byte, line int) []byte {
	text := data[s.starts[line-1]:]
	if end := bytes.IndexByte(text, '\n'); end >= 0 {
		text = text[:end]
	}
	return bytes.TrimSuffix(text, []byte("\r"))
}

// line is the line on which a range begins.
func (s *scanner) line(r unstable.Range) int {
	return sort.SearchInts(s.starts, int(r.Offset)+1)
}

// part is one part of a dotted key.
type part struct {
	name string
	line int
}

func (s *scanner) path(e *unstable.Node) []part {
	var parts []part
	for it := e.Key(); it.Next(); {
		k := it.Node()
		parts = append(parts, part{string(k.Data), s.line(k.Raw)})
	}
	return parts
}

// descend follows path from n, making the tables that are implied, and returns nil
// where something stands in the way.
func (s *scanner) descend(n *node, path []part) *node {
	for _, p := range path {
		next := n.keys[p.name]
		switch {
		case next == nil:
			next = &node{line: p.line, kind: unstable.Table, keys: map[string]*node{}}
			n.keys[p.name] = next
		case next.kind == unstable.ArrayTable:
			next = next.items[len(next.items)-1]
		case next.kind != unstable.Table:
			s.twice(p, next)
			return nil
		}
		n = next
	}
	return n
}

// twice reports a key that has a value already. The first is kept, and reading goes on.
func (s *scanner) twice(p part, first *node) {
	s.at(p.line, "%s is given twice; keep one, the first is on line %d", p.name, first.line)
}

// open returns the table that a header begins. One that [a.b] implied may get its own
// header [a] later, once.
func (s *scanner) open(root *node, e *unstable.Node) *node {
	fresh := &node{kind: unstable.Table, keys: map[string]*node{}, headed: true}
	path := s.path(e)
	last := path[len(path)-1]
	fresh.line = last.line
	parent := s.descend(root, path[:len(path)-1])
	if parent == nil {
		return fresh
	}
	first := parent.keys[last.name]
	switch {
	case e.Kind == unstable.ArrayTable && first == nil:
		parent.keys[last.name] = &node{line: last.line, kind: unstable.ArrayTable, items: []*node{fresh}}
	case e.Kind == unstable.ArrayTable && first.kind == unstable.ArrayTable:
		first.items = append(first.items, fresh)
	case e.Kind == unstable.Table && first == nil:
		parent.keys[last.name] = fresh
	case e.Kind == unstable.Table && first.kind == unstable.Table && !first.headed:
		first.headed, first.line = true, last.line
		return first
	default:
		s.twice(last, first)
	}
	return fresh
}

// set puts a key and its value into a table.
func (s *scanner) set(table *node, e *unstable.Node) {
	path := s.path(e)
	last := path[len(path)-1]
	// The value is built first so that mistakes within it are found even if there is
	// no place for it.
	value := s.value(e.Value(), last.line)
	parent := s.descend(table, path[:len(path)-1])
	if parent == nil {
		return
	}
	if first := parent.keys[last.name]; first != nil {
		s.twice(last, first)
		return
	}
	parent.keys[last.name] = value
}

// value keeps a value for after the parser has moved on: it reuses its nodes.
func (s *scanner) value(e *unstable.Node, line int) *node {
	n := &node{line: line, kind: e.Kind}
	switch e.Kind {
	case unstable.Array:
		for it := e.Children(); it.Next(); {
			n.items = append(n.items, s.value(it.Node(), line))
		}
	case unstable.InlineTable:
		n.keys = map[string]*node{}
		for it := e.Children(); it.Next(); {
			s.set(n, it.Node())
		}
	default:
		n.text = string(e.Data)
	}
	return n
}

// table reports whether n is a table of any notation.
func (n *node) table() bool {
	return n.kind == unstable.Table || n.kind == unstable.InlineTable
}

// names lists the keys of a table by line.
func (n *node) names() []string {
	names := make([]string, 0, len(n.keys))
	for name := range n.keys {
		names = append(names, name)
	}
	slices.SortFunc(names, func(a, b string) int {
		return cmp.Or(cmp.Compare(n.keys[a].line, n.keys[b].line), cmp.Compare(a, b))
	})
	return names
}
