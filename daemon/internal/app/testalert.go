package app

import (
	"context"
	"fmt"
	"sync"
	"time"

	"fluewright/daemon/internal/command"
	"fluewright/daemon/internal/config"
	"fluewright/daemon/internal/notify"
)

const (
	// mostTested is how many test alerts there may be within testedWithin: each makes a
	// telephone ring.
	mostTested   = 3
	testedWithin = time.Hour
	// answerTime is how long the acknowledgement of a test is waited for.
	answerTime = 2 * time.Minute
)

// tester sends what `fluewright notify --test` sends; nil where nobody is told of alarms.
func tester(cfg *config.Config) func(context.Context) ([]command.Tried, error) {
	people := Policy(cfg).People
	if len(people) == 0 {
		return nil
	}
	return func(ctx context.Context) ([]command.Tried, error) {
		transports, err := Transports(cfg)
		if err != nil {
			return nil, err
		}
		results := make([][]notify.Tried, len(people))
		var all sync.WaitGroup
		for i, p := range people {
			all.Go(func() {
				results[i] = notify.Try(ctx, cfg.Site.Name, cfg.Site.Zone(), p, transports, answerTime, func(string, notify.Tried) {})
			})
		}
		all.Wait()
		var tried []command.Tried
		for _, one := range results {
			for _, t := range one {
				tried = append(tried, command.Tried{
					Person: t.Person, Transport: t.Transport, Sent: t.Sent, Error: t.Error,
					Asked: t.Asked, Acknowledged: t.Acknowledged, Seconds: t.After,
				})
			}
		}
		return tried, nil
	}
}

// testAlert has a test sent on every way to everybody, and tells what became of each.
func (c *commands) testAlert(ctx context.Context, r *command.Request) (a command.Reply, err error) {
	a = r.Answer()
	if c.test == nil {
		return a, command.Refuse(command.Nothing, "this monitor tells nobody of alarms: its configuration has no [[notify.person]]")
	}
	now := time.Now()
	for len(c.tested) > 0 && now.Sub(c.tested[0]) >= testedWithin {
		c.tested = c.tested[1:]
	}
	if len(c.tested) >= mostTested {
		return a, command.Refuse(command.TooOften, "there were %d tests within the hour: ask again in %d min", mostTested, int(c.tested[0].Add(testedWithin).Sub(now).Minutes())+1)
	}
	c.tested = append(c.tested, now)
	c.log.Info("a test alert was asked for from elsewhere", "by", r.By)
	if a.Tried, err = c.test(ctx); err != nil {
		return a, fmt.Errorf("send a test: %w", err)
	}
	return a, nil
}
