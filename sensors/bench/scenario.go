package bench

import (
	"bufio"
	_ "embed"
	"fmt"
	"io"
	"strconv"
	"strings"
	"time"
)

// Scenario is a list of control lines with their times.
type Scenario struct {
	Steps []Step
	// Repeat is when it begins again; 0 plays it once.
	Repeat time.Duration
}

// Step is one control line, at a time after the start.
type Step struct {
	At time.Duration
	Do string
}

//go:embed night.scenario
var night string

// Night is about three hours of one night at a furnace, for the demo: a clean burn, an
// over-hot reload, a reversed draft and a lost probe. It repeats.
func Night() Scenario {
	s, err := ParseScenario(strings.NewReader(night))
	if err != nil {
		panic(err) // the file is part of the program, and a test plays it
	}
	return s
}

// ParseScenario reads lines of "H:MM:SS control line", in order of time; "#" begins a
// comment, and the command "repeat" says when the whole begins again.
func ParseScenario(r io.Reader) (Scenario, error) {
	var s Scenario
	// Order and times are checked here; what the lines say, by the bench that plays them.
	lines := bufio.NewScanner(r)
	for n := 1; lines.Scan(); n++ {
		text, _, _ := strings.Cut(lines.Text(), "#")
		text = strings.TrimSpace(text)
		if text == "" {
			continue
		}
		clock, do, _ := strings.Cut(text, " ")
		do = strings.TrimSpace(do)
		at, err := parseClock(clock)
		switch {
		case err != nil:
			return Scenario{}, fmt.Errorf("line %d: %w", n, err)
		case do == "":
			return Scenario{}, fmt.Errorf("line %d: nothing to do at %s", n, clock)
		case s.Repeat != 0:
			return Scenario{}, fmt.Errorf("line %d: a line after repeat", n)
		case len(s.Steps) > 0 && at < s.Steps[len(s.Steps)-1].At:
			return Scenario{}, fmt.Errorf("line %d: %s is before the line above", n, clock)
		case do == "repeat" && at == 0:
			return Scenario{}, fmt.Errorf("line %d: repeat at the start", n)
		case do == "repeat":
			s.Repeat = at
		default:
			s.Steps = append(s.Steps, Step{at, do})
		}
	}
	if err := lines.Err(); err != nil {
		return Scenario{}, fmt.Errorf("read scenario: %w", err)
	}
	return s, nil
}

// parseClock reads H:MM:SS.
func parseClock(text string) (time.Duration, error) {
	parts := strings.Split(text, ":")
	var at time.Duration
	for i, part := range parts {
		n, err := strconv.ParseUint(part, 10, 16)
		if len(parts) != 3 || err != nil || i > 0 && n > 59 {
			return 0, fmt.Errorf("%q is not a time such as 1:05:00", text)
		}
		at = at*60 + time.Duration(n)*time.Second
	}
	return at, nil
}

// script is a scenario being played.
type script struct {
	steps  []compiled
	repeat time.Duration
	at     int
	base   time.Duration // start of this round
}

type compiled struct {
	at time.Duration
	do func()
}

// compile parses every line, so that playing cannot fail.
func (b *Bench) compile(s Scenario) (script, error) {
	c := script{repeat: s.Repeat}
	for _, step := range s.Steps {
		do, err := b.parse(step.Do)
		if err != nil {
			return script{}, fmt.Errorf("at %s: %w", step.At, err)
		}
		c.steps = append(c.steps, compiled{step.At, func() { do() }})
	}
	return c, nil
}

// next is the step that comes next and its time since the bench's start; nil when there
// is none.
func (s *script) next() (time.Duration, func()) {
	if s.at == len(s.steps) {
		return 0, nil
	}
	return s.base + s.steps[s.at].at, s.steps[s.at].do
}

// done goes on to the step after.
func (s *script) done() {
	if s.at++; s.at == len(s.steps) && s.repeat > 0 {
		s.at, s.base = 0, s.base+s.repeat
	}
}
