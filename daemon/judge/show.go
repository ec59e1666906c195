package main

import (
	"errors"
	"fmt"
	"io"
	"os"
	"slices"
	"strconv"
	"strings"
	"time"

	"fluewright/analysis/frame"
	"fluewright/daemon/internal/burnlog"
	"fluewright/daemon/judge/night"
	"fluewright/daemon/judge/subject"
)

// find reads world/kind/seed.
func (o *options) find() (job, error) {
	parts := strings.Split(o.night, "/")
	if len(parts) != 3 {
		return job{}, fmt.Errorf("night %q: want world/kind/seed", o.night)
	}
	seed, err := strconv.ParseUint(parts[2], 10, 64)
	if err != nil {
		return job{}, fmt.Errorf("night %q: the seed is no number", o.night)
	}
	if (seed >= night.FirstJudging) != o.judge {
		return job{}, fmt.Errorf("seed %d: those from %d up are for judging, and -judge is for those", seed, uint64(night.FirstJudging))
	}
	for _, w := range worlds() {
		for _, k := range w.Kinds() {
			if w.Name() == parts[0] && k.Name == parts[1] {
				return job{w, k, seed}, nil
			}
		}
	}
	return job{}, fmt.Errorf("night %q: no such world or kind", o.night)
}

// show prints one night: the site, what was true, a reading every few minutes, and what
// was said.
func (o *options) show(out io.Writer) error {
	j, err := o.find()
	if err != nil {
		return err
	}
	n := j.world.Night(j.kind.Name, j.seed)
	site := n.Site()
	fmt.Fprintf(out, "%s: %s\n\n%s\n", o.night, j.kind.About, subject.Config(site))
	log, err := o.openLog(site)
	if err != nil {
		return err
	}
	lines := []string{}
	add := func(at time.Duration, format string, args ...any) {
		lines = append(lines, fmt.Sprintf("%10.0f s %s", at.Seconds(), fmt.Sprintf(format, args...)))
	}
	next := time.Duration(0)
	p, err := o.play(n, func(r *night.Row) error {
		if r.At >= next {
			next += 5 * time.Minute
			add(r.At, "%s", readings(r, site))
		}
		return log.write(r)
	})
	if err = errors.Join(err, log.close()); err != nil {
		return err
	}
	tell(p, add)
	slices.SortStableFunc(lines, func(a, b string) int { return strings.Compare(a[:10], b[:10]) })
	fmt.Fprintln(out, strings.Join(lines, "\n"))
	scored := j.score(p, p.said)
	fmt.Fprintf(out, "\ncrossings %+v\ndetections %+v\nfalse %+v\naccused wrongly %+v\nburning %v of %v\n",
		scored.Crossings, scored.Detections, scored.False, scored.Accused, scored.Burning, scored.Length)
	return nil
}

func tell(p *played, add func(time.Duration, string, ...any)) {
	for _, t := range p.truth.Loads {
		add(t, "TRUE wood laid on")
	}
	for _, t := range p.truth.Doors {
		add(t, "TRUE door")
	}
	for _, e := range p.truth.Events {
		add(e.From, "TRUE %s %s %s %s, until %.0f s", e.Hazard, e.Channel, e.Cause, e.What, e.To.Seconds())
	}
	for _, c := range p.truth.Crossings {
		add(c.From, "TRUE %s above its limit, until %.0f s", c.Channel, c.To.Seconds())
	}
	for _, s := range p.said {
		add(s.At, "SAID %s %s (%s) %v", called(s), s.State, s.Priority, s.Causes)
	}
	for _, s := range p.threshold {
		add(s.At, "     threshold %s %s", s.Channel, s.State)
	}
}

func readings(r *night.Row, s night.Site) string {
	var parts []string
	for c, v := range r.Values {
		if s.Fitted[c] && frame.Channel(c) != frame.Ambient {
			parts = append(parts, fmt.Sprintf("%s %.1f", frame.Channel(c), v))
		}
	}
	return strings.Join(parts, "  ")
}

// nightLog is the burn log that -out asks for; the zero value writes none.
type nightLog struct {
	file *os.File
	out  *burnlog.Writer
}

func (o *options) openLog(s night.Site) (nightLog, error) {
	if o.out == "" {
		return nightLog{}, nil
	}
	if err := os.WriteFile(o.out+".toml", []byte(subject.Config(s)), 0o644); err != nil {
		return nightLog{}, fmt.Errorf("write configuration: %w", err)
	}
	file, err := os.Create(o.out)
	if err != nil {
		return nightLog{}, fmt.Errorf("create log: %w", err)
	}
	out, err := burnlog.NewWriter(file, s.Fitted)
	return nightLog{file, out}, err
}

func (l nightLog) write(r *night.Row) error {
	if l.file == nil {
		return nil
	}
	return l.out.Write(subject.Start.Add(r.At), subject.Frame(r))
}

func (l nightLog) close() error {
	if l.file == nil {
		return nil
	}
	return errors.Join(l.out.Flush(), l.file.Close())
}
