package installer

import (
	"errors"
	"fmt"
	"time"

	"fluewright/analysis"
	"fluewright/analysis/commissioning"
	"fluewright/analysis/frame"
)

// Player is an installer who does what commissioning asks for, on a virtual house, and
// answers.
type Player struct {
	House *House
	State *commissioning.State
	Site  commissioning.Site
	// Tell is called at the beginning, after each answer and when a measurement ends; nil:
	// nobody listens.
	Tell func(at time.Duration, s *commissioning.State)
	// Between is called before each frame; nil: nothing. It may replace State by one that was
	// written down and read back.
	Between func(p *Player)

	// Show takes the frames in place of State where somebody else owns the procedure and
	// answers; State then only says what is asked. nil: State takes them.
	Show func(commissioning.Look)

	// Tick is the time between two frames; 0: a second.
	Tick time.Duration

	engine *analysis.Engine
	left   time.Duration // until a breath or a hand ends
}

// patience is how long the player works at one procedure.
const patience = 8 * time.Hour

// Play goes through the procedure until it is over, or until it says that something must be
// put right, which a player cannot.
func (p *Player) Play() error { return p.Until(commissioning.Done, patience) }

// Until plays until a task is asked, at most for a time.
func (p *Player) Until(task commissioning.Task, most time.Duration) error {
	if err := p.Begin(); err != nil {
		return err
	}
	end := p.House.at + most
	p.Frames(time.Minute)
	p.tell()
	for p.State.Task != task {
		switch {
		case p.House.at > end:
			return fmt.Errorf("still at %v, %s after %v", p.State.Now, p.State.Task, p.House.at)
		case p.State.Running:
			p.frame()
		case p.State.Task == commissioning.Failed:
			if p.give(commissioning.Entry{Kind: commissioning.GoOn}) != nil {
				return nil // to be put right
			}
		default:
			if err := p.act(); err != nil {
				return fmt.Errorf("%v, %s: %w", p.State.Now, p.State.Task, err)
			}
		}
	}
	return nil
}

// Begin sets up the analysis, whose phases the procedure sees.
func (p *Player) Begin() error {
	if p.Tick == 0 {
		p.Tick = time.Second
	}
	var fitted [frame.Count]bool
	for c := range fitted {
		fitted[c] = true
	}
	engine, err := analysis.New(analysis.Settings{
		Fitted: fitted, DraftLow: p.Site.DraftLow, DraftHigh: p.Site.DraftHigh, DraftAverage: 60 * time.Second,
		Chimney: p.Site.System(), Altitude: p.Site.Altitude,
	})
	if err != nil {
		return fmt.Errorf("set up analysis: %w", err)
	}
	p.engine = engine
	return nil
}

// act does what is asked with the hands, and says so.
func (p *Player) act() error {
	switch p.State.Task {
	case commissioning.EnterSite:
		return p.give(commissioning.Entry{Kind: commissioning.Give, Site: &p.Site})
	case commissioning.LookAround:
		var seen [commissioning.Checks]commissioning.Seen
		for c := range seen {
			seen[c] = commissioning.Yes
		}
		return p.give(commissioning.Entry{Kind: commissioning.Give, Checks: &seen})
	case commissioning.EnterLimits:
		return p.give(commissioning.Entry{Kind: commissioning.Give, Limits: &commissioning.LimitEntry{FanOn: 43, FanOff: 35, Untouched: true}})
	case commissioning.TestAlarm:
		return p.give(commissioning.Entry{Kind: commissioning.Give, Alarm: &commissioning.AlarmEntry{Sent: true, Acknowledged: true}})
	case commissioning.Sign:
		return p.give(commissioning.Entry{Kind: commissioning.Give, People: &commissioning.People{Installer: "A virtual installer", Owner: "A virtual owner"}})
	case commissioning.LightFire:
		if err := p.give(commissioning.Entry{Kind: commissioning.Ready}); err != nil {
			return err
		}
		p.Hands()
		return nil
	}
	p.Hands()
	return p.give(commissioning.Entry{Kind: commissioning.Ready, Mark: p.State.Wanted})
}

// Hands does with the hands what is asked, and lets the time pass that it takes. A fire is
// lit after the answer, all else is done before it.
func (p *Player) Hands() {
	h := p.House
	h.hoseOff, h.fans = false, 0
	switch p.State.Task {
	case commissioning.ZeroDraft:
		h.hoseOff = true
	case commissioning.BlowHose:
		p.left = 20 * time.Second
	case commissioning.WarmProbe:
		h.warm = p.State.Channel
		p.left = 20 * time.Second
	case commissioning.ReadFans:
		h.fans = 1.2
	case commissioning.LightFire:
		h.Light(14, 0.17, 1)
	case commissioning.ReadMark:
		h.SetMark(p.State.Wanted)
		p.Frames(20 * time.Second)
	case commissioning.VerifyLow:
		h.SetDemand(0.4)
		h.Reload(6, 0.17, 1)
		p.Frames(5 * time.Minute)
	case commissioning.VerifyHigh:
		h.SetDemand(0.9)
		p.Frames(5 * time.Minute)
	case commissioning.ReadFree:
		h.SetDemand(0.5)
		p.Frames(10 * time.Minute)
	case commissioning.HoldGate:
		h.HoldShut(true)
	case commissioning.ReleaseGate:
		h.HoldShut(false)
	case commissioning.OpenDoor:
		h.OpenDoor()
	case commissioning.ShutDoor:
		h.CloseDoor()
	}
}

// give answers the task that is on.
func (p *Player) give(e commissioning.Entry) error {
	e.Step, e.Task = p.State.Now, p.State.Task
	err := p.State.Answer(e)
	var refused *commissioning.Refusal
	if err != nil && !errors.As(err, &refused) {
		return err
	}
	p.tell()
	return err
}

func (p *Player) tell() {
	if p.Tell != nil {
		p.Tell(p.House.at, p.State)
	}
}

// Frames lets time pass.
func (p *Player) Frames(d time.Duration) {
	for range max(1, d/p.Tick) {
		p.frame()
	}
}

// frame lets a tick pass.
func (p *Player) frame() {
	if p.Between != nil {
		p.Between(p)
	}
	h := p.House
	if p.left > 0 {
		p.left -= p.Tick
		if p.State.Task == commissioning.WarmProbe && p.left < 12*time.Second {
			h.warmBy += 2
		}
		if p.State.Task == commissioning.BlowHose && p.left < 6*time.Second {
			h.breath = 25
		}
	} else {
		h.breath, h.warmBy = 0, 0
	}
	at, v := h.Values(p.Tick)
	f := frame.Frame{At: at}
	for c := range v {
		if v.Has(frame.Channel(c)) {
			f.Inputs[c] = frame.Input{Value: v[c], Quality: frame.Good}
		}
	}
	a := p.engine.Step(f)
	look := commissioning.Look{At: at, Values: v, Phase: a.Phase}
	if p.Show != nil {
		p.Show(look)
		return
	}
	running := p.State.Running
	p.State.Step(look)
	if running && !p.State.Running {
		p.tell()
	}
}
