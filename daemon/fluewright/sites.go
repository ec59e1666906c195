package main

import (
	"context"
	"crypto/rand"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"strings"
	"sync"
	"text/tabwriter"
	"time"

	"fluewright/daemon/internal/mqtt"
	"fluewright/daemon/internal/sites"
	"fluewright/daemon/internal/verdict"
)

type sitesCmd struct {
	Sites []string `arg:"" optional:"" help:"Only these sites." name:"site"`
	through
	For  time.Duration `help:"Listen for so long, to hear who is there speak: 90s is longer than the pause between two words of a monitor on a line that is not metered. Without it, until the broker has told all that it keeps." placeholder:"TIME"`
	JSON bool          `help:"Print JSON." name:"json"`
}

const (
	// quiet is how long the broker must tell nothing more for it to have told all.
	quiet = time.Second
	// patience is how long it may take over that.
	patience = time.Minute
)

// Validate wants a broker.
func (c *sitesCmd) Validate() error {
	if c.Broker == "" {
		return errors.New("--broker says where the sites are")
	}
	if c.For < 0 {
		return fmt.Errorf("--for %v: want a time such as 90s", c.For)
	}
	return c.through.check()
}

// listed is what --json prints.
type listed struct {
	TakenAt time.Time `json:"taken_at"`
	// Complete says that the broker had told all that it keeps.
	Complete bool         `json:"complete"`
	Sites    []sites.Site `json:"sites"`
}

var errNotAll = errors.New("the broker was still telling when time was up: there may be more, and worse")

// Run reads what the sites keep at the broker, and sends nothing.
func (c *sitesCmd) Run(ctx context.Context, std streams) error {
	o, err := c.options()
	if err != nil {
		return err
	}
	o.ClientID = "fluewright-sites-" + strings.ToLower(rand.Text()[:12])
	heard, complete, err := c.gather(ctx, o)
	if err != nil {
		return fmt.Errorf("ask who is there: %w", err)
	}
	list := listed{time.Now().UTC().Truncate(time.Second), complete, heard.Sites(time.Now())}
	if c.JSON {
		e := json.NewEncoder(std.out)
		e.SetIndent("", "  ")
		err = e.Encode(list)
	} else {
		err = table(std.out, &list)
	}
	if err != nil {
		return fmt.Errorf("print sites: %w", err)
	}
	c.say(std.err, heard, &list)
	if !complete {
		return errNotAll
	}
	return nil
}

// gather listens until the broker has told all that it keeps, or as long as it was told to.
func (c *sitesCmd) gather(ctx context.Context, o mqtt.CallOptions) (*sites.Gathering, bool, error) {
	var mu sync.Mutex
	g := &sites.Gathering{}
	began := time.Now()
	var told time.Time // when something was last told that the broker keeps
	line, err := mqtt.Listen(ctx, o, func(h mqtt.Heard) {
		mu.Lock()
		defer mu.Unlock()
		g.Hear(h.Topic, h.Payload, h.Retained)
		if h.Retained {
			told = time.Now()
		}
	}, sites.Filters(c.Sites...)...)
	if err != nil {
		return nil, false, err
	}
	defer line.Close()
	asked := time.Now()
	look := time.NewTicker(quiet / 10)
	defer look.Stop()
	for {
		select {
		case err := <-line.Lost():
			return nil, false, err
		case <-ctx.Done():
			return nil, false, ctx.Err()
		case <-look.C:
		}
		mu.Lock()
		all := time.Since(told) >= quiet && time.Since(asked) >= quiet
		mu.Unlock()
		if took := time.Since(began); all && took >= c.For || took >= max(patience, c.For) {
			return g, all, nil
		}
	}
}

// table prints a line for each site, the worst first.
func table(out io.Writer, l *listed) error {
	w := tabwriter.NewWriter(out, 0, 0, 2, ' ', 0)
	fmt.Fprintln(w, "SITE\tHOW IT IS\tALARMS\tLAST WORD\tRUNS SINCE\tCLOCK\tVERSION")
	for i := range l.Sites {
		s := &l.Sites[i]
		fmt.Fprintf(w, "%s\t%s\t%s\t%s\t%s\t%s\t%s\n", s.Name, s.How, alarmsOf(s, l.TakenAt), lastWord(s, l.TakenAt), since(s), clockOf(s), or(s.Software, "?"))
	}
	return w.Flush()
}

func or(text, other string) string {
	if text == "" {
		return other
	}
	return text
}

// mostListed is how many alarms of a site a line names.
const mostListed = 3

func alarmsOf(s *sites.Site, now time.Time) string {
	if len(s.Alarms) == 0 {
		if s.Level == sites.Well {
			return "none"
		}
		return "?" // that none is known is not that there is none
	}
	var all []string
	for i := range s.Alarms {
		if i == mostListed {
			all = append(all, fmt.Sprintf("and %d more", len(s.Alarms)-i))
			break
		}
		a := &s.Alarms[i]
		name := strings.ReplaceAll(a.Alarm, "-", " ")
		if a.Channel != "" {
			name += " " + a.Channel
		}
		state := "not taken"
		switch {
		case a.State == "shelved":
			state = "shelved"
		case a.Acknowledged:
			state = "taken"
		}
		text := fmt.Sprintf("%s (%s, %s", name, a.Priority, state)
		if a.Doubtful {
			text += ", last known"
		} else if age := now.Sub(a.Since); age >= 0 && s.ClockTrusted != nil && *s.ClockTrusted {
			text += ", " + verdict.Ago(age)
		}
		all = append(all, text+")")
	}
	return strings.Join(all, "; ")
}

func lastWord(s *sites.Site, now time.Time) string {
	switch age := now.Sub(s.LastWord); {
	case s.Heard:
		return "now"
	case s.LastWord.IsZero():
		return "none"
	case s.ClockTrusted == nil || !*s.ClockTrusted || age < -time.Minute:
		return "?"
	default:
		return verdict.Ago(max(age, 0))
	}
}

// since is when its program began, in this machine's zone.
func since(s *sites.Site) string {
	if s.Since.IsZero() || s.ClockTrusted == nil || !*s.ClockTrusted {
		return "?"
	}
	return s.Since.Local().Format("2006-01-02 15:04")
}

func clockOf(s *sites.Site) string {
	switch {
	case s.ClockTrusted == nil:
		return "?"
	case *s.ClockTrusted:
		return "set"
	default:
		return "not set"
	}
}

// say sums up on standard error.
func (c *sitesCmd) say(out io.Writer, g *sites.Gathering, l *listed) {
	count := map[sites.Level]int{}
	for i := range l.Sites {
		count[l.Sites[i].Level]++
	}
	if len(l.Sites) == 0 {
		fmt.Fprintf(out, "Nothing is kept below %s/: no monitor is there, or this user may not read it.\n", c.Root)
		return
	}
	fmt.Fprintf(out, "%d sites: %d with an alarm, %d gone, %d not known to be well, %d well.\n", len(l.Sites),
		count[sites.Hazard]+count[sites.Alarmed], count[sites.Gone], count[sites.Unclear]+count[sites.Blind]+count[sites.Checking]+count[sites.Old], count[sites.Well])
	if g.Foreign > 0 {
		fmt.Fprintf(out, "%d messages are no monitor's and are left out.\n", g.Foreign)
	}
}
