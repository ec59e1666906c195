package main

import (
	"errors"
	"fmt"
	"os"
	"runtime"
	"slices"

	"fluewright/daemon/judge/night"
	"fluewright/daemon/judge/score"
	"fluewright/daemon/judge/subject"

	"golang.org/x/sync/errgroup"
)

// result is one night as the judged one and the threshold had it.
type result struct {
	judged, threshold score.Night
}

// judgeAll plays the nights side by side; the results are in the order of the jobs.
func (o *options) judgeAll(jobs []job) ([]result, error) {
	results := make([]result, len(jobs))
	var group errgroup.Group
	group.SetLimit(runtime.GOMAXPROCS(0))
	for i, j := range jobs {
		group.Go(func() error {
			played, err := o.play(j.world.Night(j.kind.Name, j.seed), nil)
			if err != nil {
				return fmt.Errorf("%s/%s/%d: %w", j.world.Name(), j.kind.Name, j.seed, err)
			}
			results[i] = result{j.score(played, played.said), j.score(played, played.threshold)}
			return nil
		})
	}
	return results, group.Wait()
}

func (j job) score(p *played, said []score.Said) score.Night {
	n := score.Score(p.watch, p.truth, said)
	n.World, n.Kind, n.Legit, n.Seed = j.world.Name(), j.kind.Name, j.kind.Legit, j.seed
	return n
}

// played is a night after it was judged.
type played struct {
	truth           *night.Truth
	watch           *score.Watch
	said, threshold []score.Said
}

// play plays a night to the judge, to the threshold and, where there is one, to somebody
// who looks on.
func (o *options) play(n night.Night, look func(*night.Row) error) (*played, error) {
	site := n.Site()
	threshold := subject.NewThreshold(site)
	var judge subject.Judge
	var command *subject.Command
	var err error
	if o.command != "" {
		dir, err := os.MkdirTemp("", "judge")
		if err != nil {
			return nil, fmt.Errorf("make room for the log: %w", err)
		}
		defer os.RemoveAll(dir)
		if command, err = subject.NewCommand(o.command, dir, site); err != nil {
			return nil, err
		}
	} else if judge, err = subject.NewEngine(site); err != nil {
		return nil, err
	}
	p := &played{watch: score.NewWatch(site)}
	var row night.Row
	for n.Next(&row) {
		p.watch.Row(&row)
		f := subject.Frame(&row)
		p.threshold = append(p.threshold, threshold.Step(f)...)
		if command != nil {
			err = errors.Join(err, command.Write(f))
		} else {
			p.said = append(p.said, clone(judge.Step(f))...)
		}
		if look != nil {
			err = errors.Join(err, look(&row))
		}
		if err != nil {
			return nil, err
		}
	}
	if command != nil {
		if p.said, err = command.Run(); err != nil {
			return nil, err
		}
	}
	p.truth = n.Truth()
	return p, nil
}

// clone keeps what is valid until the next step only.
func clone(said []score.Said) []score.Said {
	for i := range said {
		said[i].Causes = slices.Clone(said[i].Causes)
	}
	return said
}
