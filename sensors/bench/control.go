package bench

import (
	"encoding/json"
	"fmt"
	"maps"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"fluewright/sensors/bench/furnace"
)

// Do carries out one control line and returns its one-line reply, "ok" or the truth as
// JSON. The lines are:
//
//	light KG MOISTURE% [FINENESS]     reload KG MOISTURE% [FINENESS]
//	door open|shut                    blower on|off
//	demand 0..1                       wind METRES-PER-SECOND
//	regulator free|stuck-shut|stuck-open [SET-POINT-PASCALS]
//	downdraft PASCALS DURATION        chimney-fire DURATION
//	pin CHANNEL VALUE                 free CHANNEL
//	fault CHANNEL FAULT               clear CHANNEL
//	truth
//
// Moisture is on wet basis; fineness is 1 for cordwood and 2.5 for near kindling.
// Channels that can be pinned are firebox, flue, chamber, plenum, return, room, outdoor,
// draft, ambient and humidity, in °C, Pa and as a ratio. Faults are set at a chip, named by
// its channel (flue, chamber, plenum, draft, ambient), or on the bus i2c-1; with one chip
// of each kind, also at those of [Config] by their kind, and on i2c-2.
func (b *Bench) Do(line string) (string, error) {
	do, err := b.parse(line)
	if err != nil {
		return "", err
	}
	b.mu.Lock()
	defer b.mu.Unlock()
	b.catchUp()
	return do(), nil
}

// action is a parsed line; it is called with the bench locked.
type action func() string

func (b *Bench) parse(line string) (action, error) {
	words := strings.Fields(line)
	if len(words) == 0 {
		return nil, fmt.Errorf("empty line")
	}
	p := &arguments{line: line, words: words[1:]}
	do := b.command(words[0], p)
	if p.err == nil && do == nil {
		p.err = fmt.Errorf("unknown command %q", words[0])
	}
	if p.err == nil && len(p.words) > 0 {
		p.err = fmt.Errorf("%q: too many words", line)
	}
	if p.err != nil {
		return nil, p.err
	}
	return func() string {
		if reply := do(); reply != "" {
			return reply
		}
		return "ok"
	}, nil
}

// command reads a command's arguments and returns what to do.
func (b *Bench) command(name string, p *arguments) action {
	// Arguments are read here, before the bench is locked; only the returned action
	// touches it.
	f := b.furnace
	ok := func(do func()) action { return func() string { do(); return "" } }
	switch name {
	case "light", "reload":
		kg, moisture, fineness := p.number(0, 100), p.percent(), p.optional(1, 0.3, 5)
		if name == "light" {
			return ok(func() { f.Light(kg, moisture, fineness) })
		}
		return ok(func() { f.Reload(kg, moisture, fineness) })
	case "door":
		if p.choice("open", "shut") == 0 {
			return ok(f.OpenDoor)
		}
		return ok(f.CloseDoor)
	case "blower":
		on := p.choice("on", "off") == 0
		return ok(func() { f.Blower(on) })
	case "demand":
		d := p.number(0, 1)
		return ok(func() { f.SetDemand(d) })
	case "wind":
		v := p.number(0, 40)
		return ok(func() { f.SetWind(v) })
	case "regulator":
		how := furnace.Stuck(p.choice("free", "stuck-shut", "stuck-open"))
		set := p.optional(0, 1, 60)
		return ok(func() {
			if set == 0 { // not given: as it was
				f.SetRegulator(f.SetPoint(), how)
				return
			}
			f.SetRegulator(set, how)
		})
	case "downdraft":
		pa, d := p.number(0, 200), p.duration()
		return ok(func() { f.Downdraft(pa, d) })
	case "chimney-fire":
		d := p.duration()
		return ok(func() { f.ChimneyFire(d) })
	case "pin":
		c, v := oneOf(p, channels), p.number(math.Inf(-1), math.Inf(1))
		return ok(func() { b.pins[c] = v })
	case "free":
		c := oneOf(p, channels)
		return ok(func() { delete(b.pins, c) })
	case "fault":
		what := b.broken[oneOf(p, b.broken)]
		fault := p.fault(what)
		// Cannot fail: p.fault has asked the same question.
		return ok(func() { what.faults.Or(uint32(fault)) })
	case "clear":
		what := b.broken[oneOf(p, b.broken)]
		return ok(func() { what.Clear() })
	case "truth":
		return b.truthLine
	}
	return nil
}

// truthLine is the truth as one line of JSON.
func (b *Bench) truthLine() string {
	j, err := json.Marshal(b.truth())
	if err != nil {
		return "error: " + err.Error()
	}
	return string(j)
}

// arguments reads words one by one and keeps the first error.
type arguments struct {
	line  string
	words []string
	err   error
}

func (p *arguments) fail(format string, args ...any) {
	if p.err == nil {
		p.err = fmt.Errorf("%q: %s", p.line, fmt.Sprintf(format, args...))
	}
}

func (p *arguments) word(what string) string {
	if len(p.words) == 0 {
		p.fail("%s is missing", what)
		return ""
	}
	w := p.words[0]
	p.words = p.words[1:]
	return w
}

func (p *arguments) number(lo, hi float64) float64 {
	w := p.word("a number")
	v, err := strconv.ParseFloat(w, 64)
	if p.err == nil && (err != nil || math.IsNaN(v) || math.IsInf(v, 0)) {
		p.fail("%q is not a number", w)
	}
	if p.err == nil && (v < lo || v > hi) {
		p.fail("%s is not within %g to %g", w, lo, hi)
	}
	return v
}

func (p *arguments) optional(def, lo, hi float64) float64 {
	if len(p.words) == 0 {
		return def
	}
	return p.number(lo, hi)
}

func (p *arguments) percent() float64 {
	w := p.word("a moisture in per cent")
	bare, found := strings.CutSuffix(w, "%")
	v, err := strconv.ParseFloat(bare, 64)
	if p.err == nil && (!found || err != nil || !(v >= 0 && v <= 70)) {
		p.fail("%q is not a moisture from 0%% to 70%%", w)
	}
	return v / 100
}

func (p *arguments) duration() time.Duration {
	w := p.word("a duration")
	d, err := time.ParseDuration(w)
	if p.err == nil && (err != nil || d < 0) {
		p.fail("%q is not a duration such as 90s", w)
	}
	return d
}

func (p *arguments) choice(names ...string) int {
	w := p.word("one of " + strings.Join(names, ", "))
	i := slices.Index(names, w)
	if i < 0 {
		p.fail("%q is none of %s", w, strings.Join(names, ", "))
	}
	return i
}

func (p *arguments) fault(of *breakable) Fault {
	f, err := ParseFault(p.word("a fault"))
	switch {
	case p.err != nil:
	case err != nil:
		p.fail("%v", err)
	case f&^of.can != 0:
		p.fail("%s cannot have it: one of %s", of.kind, strings.Join(of.can.Names(), ", "))
	}
	return f
}

// oneOf takes a word that is a key of m.
func oneOf[V any](p *arguments, m map[string]V) string {
	names := slices.Sorted(maps.Keys(m))
	w := p.word("one of " + strings.Join(names, ", "))
	if _, ok := m[w]; !ok {
		p.fail("%q is none of %s", w, strings.Join(names, ", "))
	}
	return w
}
