package notify

import (
	"context"
	"errors"
	"log/slog"
	"maps"
	"sync"
	"time"

	"fluewright/analysis"
	"fluewright/analysis/alarm"
	"fluewright/daemon/internal/message"
	"fluewright/daemon/internal/status"
	"fluewright/daemon/internal/units"
)

// Options is what a courier needs to know.
type Options struct {
	Site   string
	Policy Policy
	// Transports by the names that the policy uses.
	Transports map[string]Transport
	// Alertmanager may be nil.
	Alertmanager *Alertmanager
	// State is the directory that keeps who was told; empty: nobody does.
	State string
	// Durable waits until what was known when it was called would outlast a cut of the power,
	// or cannot; nil: nothing is kept. No alarm waits for it longer than announceWithin.
	Durable func(context.Context) error
	// Acknowledge says to whoever keeps the alarms that a person has taken one.
	Acknowledge func(context.Context, Acknowledgement) error
	// Random returns a number from 0 up to 1, for pauses.
	Random func() float64
	Log    *slog.Logger
}

const (
	// announceWithin is how long an alarm waits for the storage. A person who is told in
	// time goes before a record that is complete.
	announceWithin = 2 * time.Second
	// mostNews is how many changes wait for the courier. More are not needed: what stands
	// is then taken from the newest tick.
	mostNews = 256
)

// Courier is fed by the loop through Offer and delivers in Run.
type Courier struct {
	o      Options
	begun  time.Time
	sealer Sealer

	wake  chan struct{} // holds one token while there is something to do
	alert chan struct{} // likewise for the alertmanager
	done  chan outcome

	mu     sync.Mutex
	news   []News
	all    bool // the newest tick's alarms are to be taken, all of them
	latest *status.Status
	skew   time.Duration // of the ticks' wall clock from this process's
	stats  Stats
	alerts []Alert

	desk      *Desk // Run alone, as the rest
	known     bool  // what was kept is taken over
	slow      bool  // an alarm was told before it was durable, and that was said
	unsaved   bool
	deaf      bool // the alertmanager takes nothing, since deafSince
	deafSince time.Duration
	failing   bool // it could not be saved, and that was said
}

// outcome is what became of a message.
type outcome struct {
	lane      int
	transport string
	result    Result
	after     time.Duration
	alerts    []Alert // those that an alertmanager was sent
}

// Stats counts since the program began.
type Stats struct {
	// Attempts by transport and result.
	Attempts map[string][Refused + 1]uint64
	// Delivered is when a transport last delivered.
	Delivered map[string]time.Time
	Pending   int // lanes in which something waits
	// Trouble lists transports that have not delivered for ten minutes.
	Trouble []string
	// Acknowledged and Unaccepted count answers that were valid, and those that were not.
	Acknowledged, Unaccepted uint64
}

// Names are the results as metrics write them.
func (r Result) String() string { return [...]string{"delivered", "failed", "refused"}[r] }

// New prepares a courier. It reads or makes the key that tokens are made with.
func New(o Options) (*Courier, error) {
	key, err := loadKey(o.State)
	if err != nil {
		return nil, err
	}
	c := &Courier{
		o: o, begun: time.Now(), sealer: Sealer{key}, wake: make(chan struct{}, 1), alert: make(chan struct{}, 1),
		done: make(chan outcome), desk: NewDesk(o.Site, o.Policy),
		stats: Stats{Attempts: map[string][Refused + 1]uint64{}, Delivered: map[string]time.Time{}},
	}
	for transport := range o.Transports {
		c.stats.Attempts[transport] = [Refused + 1]uint64{}
	}
	if o.Alertmanager != nil {
		c.stats.Attempts[alertmanagerName] = [Refused + 1]uint64{}
	}
	return c, nil
}

// alertmanagerName stands where a transport's name does.
const alertmanagerName = "alertmanager"

// Offer takes a tick from the loop and never waits.
func (c *Courier) Offer(s *status.Status) {
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.latest == nil {
		c.all = true
	}
	c.latest, c.skew = s, time.Until(s.Wall)
	if !c.all {
		for _, e := range s.Assessment.Events {
			if e.Kind == analysis.AlarmChanged {
				c.news = append(c.news, newsOf(e.Alarm, e.Account, s))
			}
		}
	}
	if len(c.news) > mostNews {
		c.news, c.all = nil, true
	}
	if c.all || len(c.news) > 0 {
		rouse(c.wake)
	}
}

func newsOf(a alarm.Status, account analysis.Account, s *status.Status) News {
	n := News{Status: a, Wall: s.WallOf(a.Since)}
	for u := range n.Texts {
		t := &n.Texts[u]
		t.What, t.Action = message.Alarm(a, account, s.WallOf, units.System(u))
	}
	return n
}

func rouse(wake chan<- struct{}) {
	select {
	case wake <- struct{}{}:
	default:
	}
}

// now is the present moment; ok is false before the first tick.
func (c *Courier) now() (m Moment, ok bool) {
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.latest == nil {
		return Moment{}, false
	}
	at := time.Now()
	wall := at.Round(0).Add(c.skew).In(c.latest.Wall.Location())
	return Moment{At: at.Sub(c.begun), Wall: wall, Trusted: c.latest.ClockTrusted}, true
}

// Stats returns the counters.
func (c *Courier) Stats() Stats {
	c.mu.Lock()
	defer c.mu.Unlock()
	s := c.stats
	s.Attempts = make(map[string][Refused + 1]uint64, len(c.stats.Attempts))
	maps.Copy(s.Attempts, c.stats.Attempts)
	s.Delivered = make(map[string]time.Time, len(c.stats.Delivered))
	maps.Copy(s.Delivered, c.stats.Delivered)
	return s
}

// Run delivers until ctx ends.
func (c *Courier) Run(ctx context.Context) error {
	var helpers sync.WaitGroup
	defer helpers.Wait()
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	for _, p := range c.answerers() {
		helpers.Go(func() { c.listen(ctx, p) })
	}
	if c.o.Alertmanager != nil {
		helpers.Go(func() { c.pushAlerts(ctx) })
	}
	timer := time.NewTimer(time.Hour)
	defer timer.Stop()
	for {
		fresh := false
		select {
		case <-ctx.Done():
			c.save()
			return nil
		case <-c.wake:
			c.takeNews(ctx)
			fresh = true
		case o := <-c.done:
			c.settle(o)
		case <-timer.C:
		}
		now, ok := c.now()
		if !ok {
			continue
		}
		for _, m := range c.desk.Due(now) {
			helpers.Go(func() { c.send(ctx, m) })
		}
		c.note(now)
		if fresh {
			rouse(c.alert)
		}
		c.save()
		timer.Reset(c.pause(now))
	}
}

// pause is how long there is nothing to do, as far as time goes. The desk is looked at each
// minute anyhow, so that trouble is seen while nothing happens.
func (c *Courier) pause(now Moment) time.Duration {
	d := time.Minute
	if at, ok := c.desk.Wake(now); ok {
		d = min(d, at-now.At)
	}
	return max(d, 10*time.Millisecond)
}

// takeNews hands the desk what has happened, once it is durable.
func (c *Courier) takeNews(ctx context.Context) {
	c.mu.Lock()
	news, s := c.news, c.latest
	fresh := c.all
	c.news, c.all = nil, false
	c.mu.Unlock()
	if s == nil || !fresh && len(news) == 0 {
		return
	}
	c.await(ctx)
	now, _ := c.now()
	if fresh {
		if !c.known {
			c.known = true
			c.restore(now)
		}
		has := map[alarm.Key]bool{}
		for i, a := range s.Assessment.Alarms {
			has[a.Key] = true
			var account analysis.Account
			if i < len(s.Assessment.Accounts) {
				account = s.Assessment.Accounts[i]
			}
			c.desk.Take(now, newsOf(a, account, s))
		}
		c.desk.Keep(func(k alarm.Key) bool { return has[k] })
	}
	for _, n := range news {
		c.desk.Take(now, n)
	}
	c.unsaved = true
}

// await waits until what is known of the alarms is durable, or cannot be in time.
func (c *Courier) await(ctx context.Context) {
	if c.o.Durable == nil {
		return
	}
	wait, cancel := context.WithTimeout(ctx, announceWithin)
	defer cancel()
	err := c.o.Durable(wait)
	if err != nil && !c.slow && ctx.Err() == nil {
		c.o.Log.Warn("people are told of an alarm before it is kept", "error", err)
	}
	c.slow = err != nil
}

// send carries one message.
func (c *Courier) send(ctx context.Context, m Message) {
	letter := Write(m, c.sealer.Seal(m.Person, m.Asked()))
	within, cancel := context.WithTimeout(ctx, sendWithin)
	defer cancel()
	err := errors.New("there is no such transport")
	if t := c.o.Transports[m.Transport]; t != nil {
		err = t.Send(within, letter)
	}
	o := outcome{lane: m.Lane, transport: m.Transport}
	o.result, o.after = resultOf(err)
	switch {
	case ctx.Err() != nil:
		return // the program ends; it is sent again under the same name
	case err != nil:
		c.o.Log.Warn("a message was not delivered", "transport", m.Transport, "person", m.Person, "id", m.ID,
			"result", o.result.String(), "error", err)
	default:
		c.o.Log.Info("a message was delivered", "transport", m.Transport, "person", m.Person, "id", m.ID)
	}
	select {
	case c.done <- o:
	case <-ctx.Done():
	}
}

func (c *Courier) settle(o outcome) {
	now, ok := c.now()
	if !ok {
		return
	}
	c.count(o.transport, o.result)
	if o.alerts != nil {
		switch {
		case o.result == Delivered:
			c.unsaved = c.desk.Alerted(o.alerts) || c.unsaved
			c.deaf = false
		case !c.deaf:
			c.deaf, c.deafSince = true, now.At
		}
		return
	}
	ln := &c.desk.lanes[o.lane]
	c.unsaved = c.unsaved || o.result != Failed || ln.failures == 0
	c.desk.Done(now, o.lane, o.result, max(o.after, backoff(ln.failures, c.o.Random())))
}

func (c *Courier) count(transport string, r Result) {
	c.mu.Lock()
	defer c.mu.Unlock()
	n := c.stats.Attempts[transport]
	n[r]++
	c.stats.Attempts[transport] = n
	if r == Delivered {
		c.stats.Delivered[transport] = time.Now().Round(0).Add(c.skew)
	}
}

// note keeps what others ask for.
func (c *Courier) note(now Moment) {
	pending, trouble, alerts := c.desk.Pending(now), c.desk.Trouble(now), c.desk.Alerts(now)
	if c.deaf && now.At-c.deafSince >= troubled {
		trouble = append(trouble, alertmanagerName)
	}
	c.mu.Lock()
	defer c.mu.Unlock()
	c.stats.Pending, c.stats.Trouble, c.alerts = pending, trouble, alerts
}

// backoff is the pause after so many failures before this one: 2 s, doubled up to 2 min,
// less up to a half by chance, so that a fleet does not come back all at once. It is short
// for an outage's end to be seen soon: each lane sends one message at a time.
func backoff(failures int, random float64) time.Duration {
	d := min(2*time.Second<<min(failures, 10), 2*time.Minute)
	return time.Duration(float64(d) * (1 - random/2))
}
