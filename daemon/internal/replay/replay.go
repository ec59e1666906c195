// Package replay judges a burn log with the engine that judges a live fire, and writes
// what it finds as JSON Lines, in the order of the log's clock.
package replay

import (
	"bufio"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"time"

	"fluewright/analysis"
	"fluewright/analysis/alarm"
	"fluewright/analysis/frame"
	"fluewright/daemon/internal/burnlog"
	"fluewright/daemon/internal/message"
)

// Summary is the last line.
type Summary struct {
	Time time.Time `json:"time"` // of the last row
	Type string    `json:"type"` // "summary"
	From time.Time `json:"from"`
	Rows int       `json:"rows"`
	// Raised counts how often each alarm was raised, by "name" or "name/channel".
	Raised map[string]int `json:"raised"`
	// Standing lists the alarms that stand at the end of the log, and Unjudged those
	// that the log gave too little to judge: they are not normal.
	Standing []string `json:"standing"`
	Unjudged []string `json:"unjudged"`
	Burns    int      `json:"burns"`
	Phase    string   `json:"phase"`
}

// Run judges the log by the settings and writes what is found. Which channels are
// fitted is what the log has columns for. On a bad row it returns an error that names
// the row, after having written what came before it, and no summary. Each watcher is
// shown every row.
func Run(log io.Reader, out io.Writer, s analysis.Settings, u message.Units, watchers ...Watcher) error {
	r, err := burnlog.NewReader(log)
	if err != nil {
		return err
	}
	s.Fitted = r.Fitted()
	engine, err := analysis.New(s)
	if err != nil {
		return fmt.Errorf("set up analysis: %w", err)
	}
	buffered := bufio.NewWriter(out)
	p := player{engine: engine, out: json.NewEncoder(buffered), units: u, watchers: watchers}
	p.out.SetEscapeHTML(false)
	err = p.play(r)
	if flushed := buffered.Flush(); err == nil && flushed != nil {
		err = fmt.Errorf("write findings: %w", flushed)
	}
	return err
}

// Watcher is shown a row, when it was read, and what was made of it, which is valid until
// it returns.
type Watcher func(time.Time, frame.Frame, *analysis.Assessment)

type player struct {
	engine   *analysis.Engine
	out      *json.Encoder
	units    message.Units
	watchers []Watcher
	summary  Summary
}

func (p *player) play(r *burnlog.Reader) error {
	p.summary = Summary{Type: "summary", Raised: map[string]int{}, Standing: []string{}, Unjudged: []string{}}
	var last analysis.Assessment
	for row, err := range ahead(r) {
		if err != nil {
			return err
		}
		t, f := row.at, row.frame
		if p.summary.Rows++; p.summary.Rows == 1 {
			p.summary.From = t
		}
		p.summary.Time = t
		last = p.engine.Step(f)
		for _, watch := range p.watchers {
			watch(t, f, &last)
		}
		start := t.Add(-f.At)
		for _, e := range last.Events {
			if err := p.say(e, func(at time.Duration) time.Time { return start.Add(at) }); err != nil {
				return err
			}
		}
	}
	if p.summary.Rows == 0 {
		return errors.New("row 2: the log has a head and no rows")
	}
	p.summary.Phase = last.Phase.String()
	for _, a := range last.Alarms {
		switch {
		case a.State.Standing():
			p.summary.Standing = append(p.summary.Standing, a.Key.String())
		case a.State == alarm.Unjudged:
			p.summary.Unjudged = append(p.summary.Unjudged, a.Key.String())
		}
	}
	return p.write(p.summary)
}

func (p *player) say(e analysis.Event, wall func(time.Duration) time.Time) error {
	switch {
	case e.Kind == analysis.AlarmChanged && e.Change == alarm.WasRaised:
		p.summary.Raised[e.Alarm.Key.String()]++
	case e.Kind == analysis.BurnEnded:
		p.summary.Burns++
	}
	if line := message.Line(e, wall, p.units); line != nil {
		return p.write(line)
	}
	return nil
}

func (p *player) write(line any) error {
	if err := p.out.Encode(line); err != nil {
		return fmt.Errorf("write findings: %w", err)
	}
	return nil
}
