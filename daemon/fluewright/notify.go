package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"fluewright/daemon/internal/app"
	"fluewright/daemon/internal/notify"
)

type notifyCmd struct {
	Config string        `help:"Configuration file." type:"path" default:"/etc/fluewright/fluewright.toml" placeholder:"FILE"`
	Test   bool          `help:"Send a test through every transport and wait for the acknowledgement." required:""`
	Person string        `help:"Only to this person; without it to everybody." placeholder:"NAME"`
	Wait   time.Duration `help:"How long an acknowledgement is waited for." default:"2m" placeholder:"TIME"`
	JSON   bool          `help:"Print JSON." name:"json"`
}

// Validate checks what kong cannot.
func (c *notifyCmd) Validate() error {
	if c.Wait < time.Second || c.Wait > time.Hour {
		return fmt.Errorf("--wait %v: want 1s to 1h", c.Wait)
	}
	return nil
}

// Run sends the tests. It may run beside the daemon.
func (c *notifyCmd) Run(ctx context.Context, std streams) error {
	cfg, err := loadConfig(c.Config)
	if err != nil {
		return err
	}
	people := app.Policy(cfg).People
	if c.Person != "" {
		i := slices.IndexFunc(people, func(p notify.Person) bool { return p.Name == c.Person })
		if i < 0 {
			return fmt.Errorf("there is no person %q; the configuration has %s", c.Person, named(people))
		}
		people = people[i : i+1]
	}
	if len(people) == 0 {
		return errors.New("the configuration has no [[notify.person]], so nobody would be told of an alarm")
	}
	transports, err := app.Transports(cfg)
	if err != nil {
		fmt.Fprintln(std.err, "fluewright:", err)
		return errWrong
	}
	all := []notify.Tried{}
	for _, p := range people {
		all = append(all, notify.Try(ctx, cfg.Site.Name, cfg.Site.Zone(), p, transports, c.Wait, func(step string, t notify.Tried) {
			if !c.JSON {
				fmt.Fprintf(std.out, "%s by %s: %s\n", t.Person, t.Transport, c.words(step, t))
			}
		})...)
	}
	if c.JSON {
		if err := json.NewEncoder(std.out).Encode(all); err != nil {
			return fmt.Errorf("print results: %w", err)
		}
	}
	if slices.ContainsFunc(all, func(t notify.Tried) bool { return !t.OK() }) {
		return errWrong
	}
	return nil
}

// words say what happened, and no more than is known.
func (c *notifyCmd) words(step string, t notify.Tried) string {
	switch {
	case step == "failed":
		return "FAILED, " + t.Error
	case step == "sent" && t.Asked:
		return fmt.Sprintf("the server took it; press Acknowledge on the telephone within %v", c.Wait)
	case step == "sent":
		return "the server took it; only the person can tell whether it arrives"
	case t.Acknowledged:
		return fmt.Sprintf("acknowledged after %.0f s, so it arrived and the way back works", t.After)
	default:
		return fmt.Sprintf("FAILED, nobody pressed Acknowledge within %v: it did not arrive, or the way back does not work", c.Wait)
	}
}

func named(people []notify.Person) string {
	if len(people) == 0 {
		return "none"
	}
	var names []string
	for _, p := range people {
		names = append(names, p.Name)
	}
	return strings.Join(names, ", ")
}
