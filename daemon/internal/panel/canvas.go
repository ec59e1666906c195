package panel

import (
	"bytes"
	"encoding/xml"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"unicode"
)

// canvas collects elements. Its measures are px, written to a tenth.
type canvas struct {
	out    bytes.Buffer
	prefix string
	scheme Scheme
	size   float64        // of text
	used   [roles][2]bool // by property
	dashed [traces]bool
}

// The properties that a role paints.
const (
	fill = iota
	stroke
)

var properties = [...]string{"fill", "stroke"}

func (s *canvas) raw(text string) { s.out.WriteString(text) }

func (s *canvas) put(format string, args ...any) { fmt.Fprintf(&s.out, format, args...) }

// paint returns the attributes that fill and stroke an element.
func (s *canvas) paint(filled, stroked role) string {
	var classes []string
	var attributes strings.Builder
	for property, r := range [...]role{filled, stroked} {
		if r == none {
			if property == fill {
				attributes.WriteString(` fill="none"`)
			}
			continue
		}
		fmt.Fprintf(&attributes, ` %s="%s"`, properties[property], s.scheme.palette()[r])
		classes = append(classes, s.class(r, property))
	}
	if s.scheme.follows() && classes != nil {
		fmt.Fprintf(&attributes, ` class="%s"`, strings.Join(classes, " "))
	}
	return attributes.String()
}

// class is the name by which the style sheet finds what a role paints.
func (s *canvas) class(r role, property int) string {
	s.used[r][property] = true
	return s.prefix + properties[property][:1] + strconv.Itoa(int(r))
}

// dash returns the attribute of a group that dashes the i-th trace where that is what
// tells it.
func (s *canvas) dash(i int) string {
	switch d := dashes[i%traces]; {
	case d == "none":
		return ""
	case s.scheme == Print:
		return ` stroke-dasharray="` + d + `"`
	case s.scheme.follows():
		s.dashed[i%traces] = true
		return ` class="` + s.dashClass(i) + `"`
	default:
		return ""
	}
}

func (s *canvas) dashClass(i int) string { return s.prefix + "d" + strconv.Itoa(i%traces) }

// style writes what changes in the dark and on paper.
func (s *canvas) style() {
	if s.scheme != Auto {
		return
	}
	s.raw("<style>")
	s.rules()
	s.raw("</style>\n")
}

// rules are those of what is used.
func (s *canvas) rules() {
	for _, other := range []struct {
		media  string
		colour *palette
	}{{"screen and (prefers-color-scheme:dark)", &dark}, {"print", &print}} {
		s.put("@media %s{", other.media)
		for r := range roles {
			for property, used := range s.used[r] {
				if used && other.colour[r] != light[r] {
					s.put(".%s{%s:%s}", s.class(r, property), properties[property], other.colour[r])
				}
			}
		}
		for i, used := range s.dashed {
			if used && other.colour == &print {
				s.put(".%s{stroke-dasharray:%s}", s.dashClass(i), dashes[i])
			}
		}
		s.raw("}")
	}
}

// StyleSheet returns the rules by which Linked pictures with this prefix follow the reader.
func StyleSheet(prefix string) []byte {
	s := canvas{prefix: identifier(prefix), scheme: Linked}
	for r := ground; r < roles; r++ {
		s.used[r] = [2]bool{true, true}
	}
	for i, d := range dashes {
		s.dashed[i] = d != "none"
	}
	s.rules()
	return s.out.Bytes()
}

// escape writes text as XML holds it; what XML cannot hold becomes a replacement mark.
func (s *canvas) escape(text string) { _ = xml.EscapeText(&s.out, []byte(text)) } // a bytes.Buffer takes everything

// anchor is which end of a text its position is.
type anchor string

const (
	start  anchor = ""
	middle anchor = ` text-anchor="middle"`
	end    anchor = ` text-anchor="end"`
)

// text writes a line of text whose base line is at y.
func (s *canvas) text(x, y float64, a anchor, r role, extra, text string) {
	s.put(`<text x="%s" y="%s"%s%s%s>`, px(x), px(y), a, s.paint(r, none), extra)
	s.escape(text)
	s.raw("</text>\n")
}

// title is what a pointer that rests on the element is told.
func (s *canvas) title(text string) {
	s.raw("<title>")
	s.escape(text)
	s.raw("</title>")
}

// rect draws a rectangle of no less than half a pixel.
func (s *canvas) rect(x, y, w, h float64, attributes string) {
	s.put(`<rect x="%s" y="%s" width="%s" height="%s"%s/>`+"\n", px(x), px(y), px(max(w, 0.5)), px(h), attributes)
}

// px writes a measure to a tenth, as short as can be.
func px(v float64) string { return string(appendTenths(nil, tenths(v))) }

// tenths is a measure in whole tenths of a pixel; far outside of any picture it stops.
func tenths(v float64) int {
	if math.IsNaN(v) {
		return 0
	}
	return int(math.Round(min(max(v, -1e5), 1e5) * 10))
}

func appendTenths(b []byte, t int) []byte {
	if t < 0 {
		b, t = append(b, '-'), -t
	}
	if t >= 10 || t == 0 {
		b = strconv.AppendInt(b, int64(t/10), 10)
	}
	if t%10 != 0 {
		b = append(b, '.', byte('0'+t%10))
	}
	return b
}

// path is the data of a path element, in relative steps.
type path struct {
	data []byte
	x, y int // where the pen is, tenths
	last byte
}

func (p *path) empty() bool { return len(p.data) == 0 }

// number appends a number and what must stand before it.
func (p *path) number(t int) {
	var room [16]byte
	n := appendTenths(room[:0], t)
	if b := p.data; n[0] != '-' && len(b) > 0 && b[len(b)-1] >= '0' && b[len(b)-1] <= '9' {
		p.data = append(p.data, ' ')
	}
	p.data = append(p.data, n...)
}

func (p *path) command(c byte) {
	if p.last != c || c == 'm' { // numbers after those of a move would be lines
		p.data = append(p.data, c)
		p.last = c
	}
}

func (p *path) step(c byte, x, y float64) {
	tx, ty := tenths(x), tenths(y)
	p.command(c)
	p.number(tx - p.x)
	p.number(ty - p.y)
	p.x, p.y = tx, ty
}

func (p *path) move(x, y float64) { p.step('m', x, y) }
func (p *path) line(x, y float64) { p.step('l', x, y) }

func (p *path) vertical(y float64) {
	ty := tenths(y)
	p.command('v')
	p.number(ty - p.y)
	p.y = ty
}

// box adds a rectangle, and the pen goes back to its first corner.
func (p *path) box(left, top, right, bottom float64) {
	p.move(left, top)
	w, h := tenths(right)-p.x, tenths(bottom)-p.y
	for _, side := range []struct {
		command byte
		length  int
	}{{'h', w}, {'v', h}, {'h', -w}} {
		p.command(side.command)
		p.number(side.length)
	}
	p.command('z')
}

// stroke draws the path; an empty one is nothing.
func (s *canvas) stroke(p *path, attributes string) {
	if !p.empty() {
		s.put(`<path d="%s"%s/>`+"\n", p.data, attributes)
	}
}

// straight draws one straight line.
func (s *canvas) straight(x1, y1, x2, y2 float64, attributes string) {
	var p path
	p.move(x1, y1)
	p.line(x2, y2)
	s.stroke(&p, attributes)
}

// width estimates how wide a text is, on the wide side of common fonts.
func (s *canvas) width(text string) float64 {
	w := 0.0
	for _, r := range text {
		w += ems(r)
	}
	return w * s.size
}

// ems is the width of a character as a share of the text's size.
func ems(r rune) float64 {
	switch {
	case r >= 0x1100: // ideographs, emoji and their like
		return 1.05
	case strings.ContainsRune("iIjl.,:;'|! ", r):
		return 0.36
	case strings.ContainsRune("mwMW%—…", r):
		return 0.93
	case unicode.IsUpper(r):
		return 0.72
	default:
		return 0.61
	}
}

// fit shortens a text to a width.
func (s *canvas) fit(text string, room float64) string {
	room /= s.size
	w, end := 0.0, 0 // of what leaves room for a mark of what is left out
	for i, r := range text {
		if w+ems('…') <= room {
			end = i
		}
		if w += ems(r); w > room {
			if end == 0 {
				return ""
			}
			return strings.TrimRight(text[:end], " ") + "…"
		}
	}
	return text
}

// identifier makes a name that can begin ids and classes.
func identifier(text string) string {
	name := strings.Map(func(r rune) rune {
		if r == '-' || r == '_' || r >= '0' && r <= '9' || r >= 'a' && r <= 'z' || r >= 'A' && r <= 'Z' {
			return r
		}
		return -1
	}, text)
	letters := func(r rune) bool { return r >= 'a' && r <= 'z' || r >= 'A' && r <= 'Z' }
	if name == "" || !slices.ContainsFunc([]rune(name)[:1], letters) {
		name = "panel" + name
	}
	return name
}
