package commission

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"strconv"
	"strings"

	"fluewright/analysis/commissioning"
	"fluewright/daemon/internal/units"
)

// Procedure is a commissioning that somebody owns: a *Desk.
type Procedure interface {
	View() (View, bool)
	Site() commissioning.Site
	Begin(season bool) error
	Answer(commissioning.Entry) error
	Close() (Record, error)
}

// Talk is a conversation about a commissioning in a terminal.
type Talk struct {
	Procedure Procedure
	In        io.Reader
	Out       io.Writer
	Units     units.System
	Season    bool // begin a season's start where nothing is under way
	// Wait waits for the next readings.
	Wait func(context.Context) error

	lines chan string // closed at the end of In
	told  [commissioning.Steps]int
	began bool
	step  commissioning.Step
}

// help says what may be typed.
const help = `Type "ready" when it is done ("ready 3.5" with the mark that is set), "skip" with a reason,
"none" where there are no fans, "repeat" or "go on" after a step that failed,
"report" to end here with the report as it stands, "quit" to go on another time.`

// Run leads through it until it is over or the person leaves; left says that it goes on
// another time, and then there is no record.
func (t *Talk) Run(ctx context.Context) (r Record, left bool, err error) {
	t.lines = make(chan string)
	go t.read(ctx)
	v, under := t.Procedure.View()
	if !under {
		if err := t.Procedure.Begin(t.Season); err != nil {
			return Record{}, false, err
		}
	} else {
		t.say("A commissioning is under way; it goes on at: %s.", v.Title)
	}
	t.say("%s\n\n%s", First, help)
	for {
		v, under := t.Procedure.View()
		if !under {
			return Record{}, true, nil // somebody else has closed it
		}
		t.tell(v)
		switch {
		case v.Task == commissioning.Done:
			r, err := t.Procedure.Close()
			return r, false, err
		case v.Running:
			if err := t.watch(ctx); err != nil {
				return t.end(err)
			}
			continue
		}
		t.say("> %s", v.Do)
		if v.Settled != "" {
			t.say("  Done when: %s", v.Settled)
		}
		if err := t.act(ctx, v); err != nil {
			return t.end(err)
		}
	}
}

// The ways in which a conversation ends before the procedure does.
var (
	errLeft   = errors.New("left")
	errReport = errors.New("report")
)

func (t *Talk) end(err error) (Record, bool, error) {
	switch {
	case errors.Is(err, errLeft):
		return Record{}, true, nil
	case errors.Is(err, errReport):
		r, err := t.Procedure.Close()
		return r, false, err
	}
	return Record{}, false, err
}

func (t *Talk) read(ctx context.Context) {
	defer close(t.lines)
	in := bufio.NewScanner(t.In)
	for in.Scan() {
		select {
		case t.lines <- strings.TrimSpace(in.Text()):
		case <-ctx.Done():
			return
		}
	}
}

func (t *Talk) say(format string, args ...any) { fmt.Fprintf(t.Out, format+"\n", args...) }

// tell prints what is new.
func (t *Talk) tell(v View) {
	for i, s := range v.Steps {
		if len(s.Lines) < t.told[i] {
			t.told[i] = 0 // repeated
		}
		for _, l := range s.Lines[t.told[i]:] {
			t.say("  %s%s", Sign(l.Grade), l.Text)
			if l.Advice != "" {
				t.say("    %s", l.Advice)
			}
		}
		t.told[i] = len(s.Lines)
	}
	if !t.began || v.Now != t.step {
		t.say("\n%s. %s", v.Title, v.Why)
		t.step, t.began = v.Now, true
	}
}

// Sign stands before a finding where it must be seen.
func Sign(g commissioning.Grade) string {
	switch {
	case g == commissioning.Stop:
		return "STOP: "
	case g == commissioning.Bad:
		return "FAIL: "
	case g == commissioning.Caution:
		return "CAUTION: "
	}
	return ""
}

// watch waits while something is measured, and listens.
func (t *Talk) watch(ctx context.Context) error {
	const every = 60 // waits between two words
	lines := t.lines
	for n := 1; ; n++ {
		v, under := t.Procedure.View()
		if !under || !v.Running {
			return nil
		}
		if n%every == 0 {
			t.say("  %s", v.Doing)
		}
		select {
		case line, open := <-lines:
			if !open {
				lines = nil // nobody is there; what is measured goes on
				continue
			}
			if line == "" {
				t.say("  %s", v.Doing)
				continue
			}
			if err := t.order(v, line); err != nil {
				return err
			}
			continue
		default:
		}
		if err := t.Wait(ctx); err != nil {
			return err
		}
	}
}

// act asks for what the task takes.
func (t *Talk) act(ctx context.Context, v View) error {
	entry, fields := Forms(v.Task, t.Procedure.Site(), t.Units)
	if fields == nil {
		line, err := t.line(ctx)
		if err != nil {
			return err
		}
		return t.order(v, line)
	}
	for i := range fields {
		if !fields[i].Asked() {
			continue
		}
		if err := t.ask(ctx, &fields[i]); err != nil {
			var other *command
			if errors.As(err, &other) {
				return t.order(v, other.line)
			}
			return err
		}
	}
	return t.give(v, *entry)
}

// ask asks until what was typed can be read; Enter takes what stands in brackets. Words that
// are no answer but lead elsewhere leave the form.
func (t *Talk) ask(ctx context.Context, f *Field) error {
	question := f.Text
	if len(f.Choices) > 0 {
		question += " (" + strings.Join(f.Choices, "/") + ")"
	}
	if f.Value != "" {
		question += " [" + f.Value + "]"
	}
	for {
		fmt.Fprintf(t.Out, "  %s ", question)
		line, err := t.line(ctx)
		if err != nil {
			return err
		}
		if word, _, _ := strings.Cut(line, " "); word == "quit" || word == "report" || word == "skip" {
			return &command{line}
		}
		if line == "" {
			line = f.Value
		}
		if err := f.Take(line); err != nil {
			t.say("  %v", err)
			continue
		}
		return nil
	}
}

// command is something else than the answer to a question.
type command struct{ line string }

func (c *command) Error() string { return c.line }

// line reads one; the end of the input leaves.
func (t *Talk) line(ctx context.Context) (string, error) {
	select {
	case line, open := <-t.lines:
		if !open {
			return "", errLeft
		}
		return line, nil
	case <-ctx.Done():
		return "", errLeft
	}
}

// order carries out what was typed.
func (t *Talk) order(v View, line string) error {
	word, rest, _ := strings.Cut(line, " ")
	rest = strings.TrimSpace(rest)
	e := commissioning.Entry{Reason: rest}
	switch strings.ToLower(word) {
	case "":
		return nil
	case "quit":
		return errLeft
	case "report":
		return errReport
	case "ready":
		e.Kind, e.Mark = commissioning.Ready, v.Mark
		switch {
		case rest == "looked":
			e.Looked = true
		case rest != "":
			m, err := strconv.ParseFloat(rest, 64)
			if err != nil {
				t.say("  %q is no mark; type \"ready 3.5\".", rest)
				return nil
			}
			e.Mark = m
		}
	case "none":
		e.Kind = commissioning.Without
	case "skip":
		e.Kind = commissioning.Skip
	case "repeat":
		e.Kind = commissioning.Repeat
	case "go":
		e.Kind = commissioning.GoOn
	default:
		t.say("%s", help)
		return nil
	}
	return t.give(v, e)
}

// give answers, and says why an answer is not taken.
func (t *Talk) give(v View, e commissioning.Entry) error {
	e.Step, e.Task = v.Now, v.Task
	err := t.Procedure.Answer(e)
	var refused *commissioning.Refusal
	if errors.As(err, &refused) {
		t.say("  Not taken: %s", Refusal(refused))
		if refused.Code == commissioning.FireNotSeen {
			t.say("  If you have looked and there is no fire and no coals, type \"ready looked\".")
		}
		return nil
	}
	return err
}
