// Package mqtt publishes what the program knows to an MQTT 3.1.1 broker, and keeps
// alarms and events until the broker has acknowledged them.
//
// Under fluewright/<site>/ it writes availability, state and alarm/<name>[/<channel>]
// (retained), telemetry and event. It takes commands below command/ and replies below
// reply/<client>/<id>, and sends large things in chunks that never hold an alarm up. The
// payloads are described by the JSON Schemas in the folder schema, and a test holds every
// payload against them. All of it is sent with QoS 1: a receiver may see a message twice, and
// tells an event's repeat by its id, a sample's by its run, moment and name.
//
// Events and telemetry come out of the history, where one is kept: nothing waits in memory for
// a broker that is away. How far the broker has come is two positions in the history, which
// move on a PUBACK alone and are kept on disk; after an outage or a kill it is read on from
// there. Telemetry of the present goes first and what was missed behind everything else, so
// stretches behind the position can be acknowledged already. What tells how things are now
// (availability, state, alarm) is not in the history and waits in a bounded queue, in which the
// newest replaces the older; so does everything where no history is kept.
package mqtt

import (
	"cmp"
	"context"
	"crypto/x509"
	"encoding/json"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"net/url"
	"os"
	"sync"
	"time"

	"fluewright/analysis"
	"fluewright/analysis/alarm"
	"fluewright/analysis/cause"
	"fluewright/analysis/frame"
	words "fluewright/daemon/internal/message"
	"fluewright/daemon/internal/status"
	"fluewright/daemon/internal/verdict"
)

// Options is what the publisher needs to know.
type Options struct {
	// Site is part of every topic: a to z, 0 to 9 and '-'.
	Site string
	// Broker is "tcp://host:1883" or "ssl://host:8883".
	Broker   string
	ClientID string // default "fluewright-<site>"
	// User and Password may be empty. Over tcp they can be read on the way.
	User, Password string
	// CAFile holds the certificates that may sign the broker's, for ssl; empty: those of
	// the system.
	CAFile string
	// CertFile and KeyFile are our own certificate, where the broker asks for one. These files
	// are read again for each connection.
	CertFile, KeyFile string
	// Root is what topics begin with; empty: [DefaultRoot].
	Root string

	// Software is the program's version and BootID tells its runs apart.
	Software, BootID string
	// Started is time.Now at the start of the program.
	Started time.Time
	// Verdict words alarms and sums up the state.
	Verdict verdict.Site
	// Units are what the evidence for causes is written in.
	Units words.Units

	// Durable waits until what was known when it was called would outlast a cut of the power,
	// or cannot: what is said of alarms waits for it, for announceWithin at most. The others
	// do not. nil: nothing is kept.
	Durable func(context.Context) error

	// Command takes what comes below command/: the rest of the topic, whether it was retained,
	// and the payload. It must not wait. nil: no commands are taken.
	Command func(name string, retained bool, payload []byte)
	// Oversized is told of a message that was too large to be taken.
	Oversized func()

	// Past is the history: events and telemetry come out of it, also those that the broker
	// missed while it was away or the program was not there. nil: what does not fit into a
	// bounded queue is lost.
	Past Past
	// Dir is where it is kept how far the broker has come; empty: nowhere, and a restart begins
	// with itself.
	Dir string
	// BackFill is how old what comes late may be; zero takes a week.
	BackFill time.Duration

	// Metered is for lines where each byte costs: telemetry as means, everything that can wait
	// less often. Alarms go at once.
	Metered bool
	// The intervals are on the frames' clock. Zero takes the profile's: a state and a pack
	// each minute, with a sample each 10 s; metered, a state each hour, and each half hour a
	// pack with means over ten minutes.
	StateEvery, PackEvery, SampleEvery time.Duration
	// FillRate bounds back-fill, bytes a second; zero takes 20,000.
	FillRate int

	// Dial connects where there is no TLS; nil takes the net package's.
	Dial func(ctx context.Context, network, address string) (net.Conn, error)
	Log  *slog.Logger
}

// settle is how often at most a change of a reading's quality makes a new state: a loose
// wire can change it at every tick.
const (
	settle        = time.Second
	settleMetered = 15 * time.Minute
)

// Publisher is fed by the loop through Offer and delivers in Run.
type Publisher struct {
	o      Options
	server *url.URL
	secure *Secure // nil without TLS

	wake   chan struct{} // holds one token while there may be something to send
	outbox *outbox       // nil without a history
	settle time.Duration
	// ackTimeout and missing are the constants, and shorter in tests.
	ackTimeout, missing time.Duration
	calm, inHurry       rest
	hurry               chan struct{} // holds one token once there is something that cannot wait
	mean                time.Duration // over how long telemetry is averaged; zero: not

	mu      sync.Mutex
	queue   queue
	latest  *status.Status
	untold  bool      // the broker lacks a change of an alarm
	asked   time.Time // when the last command came
	events  uint64    // numbered so far
	gate    uint64    // behind which waits what is said of alarms and events
	slow    bool      // an alarm was announced before it was durable, and that was said
	told    map[alarm.Key]told
	state   outlook
	samples []sample
	sampled time.Duration // when samples were last taken
	live    time.Duration // until when somebody watches
	packing time.Duration // when the present pack was begun
	stats   Stats
}

// told is what was last put into the queue about an alarm.
type told struct {
	state      alarm.State
	occurrence uint32
	acked      bool
	until      time.Duration // of a shelf
	blind      bool
	fault      string
	cause      cause.Code // the best one
}

func tellable(a alarm.Status, account *analysis.Account) told {
	t := told{a.State, a.Occurrence, a.Acknowledged, a.ShelvedUntil, a.Blind, a.Fault, ""}
	if len(account.Causes) > 0 {
		t.cause = account.Causes[0].Code
	}
	return t
}

// outlook is what was last put into the queue as the state.
type outlook struct {
	made      bool
	at        time.Duration
	qualities [frame.Count]frame.Quality
}

// Stats counts since the program began.
type Stats struct {
	Connected bool
	// Unheard says that our own word that we are there, which we have subscribed to, has not
	// come back over this connection.
	Unheard   bool
	Connects  uint64 // sessions that came up
	Published uint64 // messages that the broker acknowledged
	Failed    uint64 // messages sent and not acknowledged before the connection went
	Dropped   uint64 // messages given up because too many waited
	Pending   int    // messages that wait or are not acknowledged yet
	// CertificateEnds is when the certificate ends that the next connection shows; zero without
	// one.
	CertificateEnds time.Time
	// Outbox is what the broker lacks of the history; nil where none is kept.
	Outbox *Outbox
}

// New checks o and prepares a publisher; it does not connect yet.
func New(o Options) (*Publisher, error) {
	server, secure, err := parseBroker(o.Broker)
	if err != nil {
		return nil, err
	}
	o.ClientID = cmp.Or(o.ClientID, "fluewright-"+o.Site)
	p := &Publisher{
		server: server, wake: make(chan struct{}, 1), told: make(map[alarm.Key]told), settle: settle, ackTimeout: ackTimeout, missing: missing,
		calm: calm, inHurry: inHurry, hurry: make(chan struct{}, 1),
	}
	if o.Metered {
		o.StateEvery, o.PackEvery = cmp.Or(o.StateEvery, time.Hour), cmp.Or(o.PackEvery, 30*time.Minute)
		p.settle, p.mean = settleMetered, 10*time.Minute
	}
	o.StateEvery = cmp.Or(o.StateEvery, time.Minute)
	o.PackEvery = cmp.Or(o.PackEvery, time.Minute)
	o.SampleEvery = cmp.Or(o.SampleEvery, 10*time.Second)
	o.BackFill = cmp.Or(o.BackFill, 7*24*time.Hour)
	o.FillRate = cmp.Or(o.FillRate, 20_000)
	if o.Dial == nil {
		o.Dial = direct
	}
	p.o = o
	if p.secure, err = newSecure(&p.o, server, secure); err != nil {
		return nil, err
	}
	if o.Past != nil {
		p.outbox = newOutbox(p)
	}
	return p, nil
}

func parseBroker(broker string) (server *url.URL, secure bool, err error) {
	server, err = url.Parse(broker)
	if err != nil {
		return nil, false, fmt.Errorf("read the broker's address: %w", err)
	}
	port := "1883"
	switch server.Scheme {
	case "tcp", "mqtt":
	case "ssl", "tls", "mqtts":
		secure, port = true, "8883"
	default:
		return nil, false, fmt.Errorf("broker %q: want tcp://host:1883 or ssl://host:8883", broker)
	}
	if server.Hostname() == "" {
		return nil, false, fmt.Errorf("broker %q names no host: want tcp://host:1883 or ssl://host:8883", broker)
	}
	if server.User != nil {
		return nil, false, errors.New("the broker's address holds a user: user and password are given apart from it")
	}
	if server.Port() == "" {
		server.Host = net.JoinHostPort(server.Hostname(), port)
	}
	return server, secure, nil
}

func certificates(file string) (*x509.CertPool, error) {
	pem, err := os.ReadFile(file)
	if err != nil {
		return nil, fmt.Errorf("read the broker's CA: %w", err)
	}
	pool := x509.NewCertPool()
	if !pool.AppendCertsFromPEM(pem) {
		return nil, fmt.Errorf("read the broker's CA: no PEM certificate in %s", file)
	}
	return pool, nil
}

// Stats returns the counters.
func (p *Publisher) Stats() Stats {
	ends := p.secure.Ends()
	p.mu.Lock()
	defer p.mu.Unlock()
	s := p.stats
	s.CertificateEnds = ends
	s.Dropped, s.Pending = p.queue.dropped, p.queue.pending()
	if p.outbox != nil {
		out := p.outbox.stats
		s.Outbox = &out
	}
	return s
}

// Offer takes a tick over. It never waits for the broker, and every event of the tick is
// queued before it returns. Ticks must come in order, each once; s must not change.
func (p *Publisher) Offer(s *status.Status) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.latest = s
	p.hold(s)
	p.press(s)
	urgent := p.offerAlarms(s)
	for _, e := range s.Assessment.Events {
		switch {
		case e.Kind == analysis.AlarmChanged && e.Change == alarm.BecameKnown:
			continue // nothing happened; alarm/<name> says it
		case e.Kind == analysis.DoorOpened, e.Kind == analysis.DoorClosed:
			continue // a reload or an alarm says what comes of it
		}
		urgent = urgent || e.Kind == analysis.AlarmChanged
		if p.outbox != nil {
			p.outbox.rouse() // it comes out of the history
			continue
		}
		p.events++
		n := p.events
		p.queue.add(&message{class: events, topic: p.topic("event"), gate: p.gate, body: func(latest *status.Status) ([]byte, error) {
			return p.event(n, e, latest)
		}})
	}
	p.offerState(s, urgent)
	p.offerTelemetry(s)
	if p.queue.pending() > 0 {
		p.rouse()
	}
}

// offerAlarms queues each alarm that changed.
func (p *Publisher) offerAlarms(s *status.Status) (changed bool) {
	settled := s.Frame.At-p.state.at >= p.settle
	for _, a := range s.Assessment.Alarms {
		account := s.Assessment.Account(a.Key)
		now, was := tellable(a, &account), p.told[a.Key]
		// Like a quality, blindness and the kind of fault may change at every tick.
		details := now.state == was.state && now.occurrence == was.occurrence
		if p.unknown(a) || now == was || details && !settled {
			continue
		}
		p.tell(a, account)
		changed = true
	}
	return changed
}

// unknown reports whether the alarm is not judged and never was: that is not told, since
// what an earlier run left retained may still hold. p.mu is held.
func (p *Publisher) unknown(a alarm.Status) bool {
	return a.State == alarm.Unjudged && p.told[a.Key] == told{}
}

// tell queues an alarm's status. p.mu is held.
func (p *Publisher) tell(a alarm.Status, account analysis.Account) {
	p.told[a.Key] = tellable(a, &account)
	p.queue.add(&message{
		class: alarms, topic: p.topic("alarm/" + a.Key.String()), retained: true, newest: true, gate: p.gate,
		body: func(latest *status.Status) ([]byte, error) {
			return json.Marshal(p.condition(a, &account, latest, latest.Frame.At))
		},
	})
}

func (p *Publisher) offerState(s *status.Status, urgent bool) {
	now := outlook{made: true, at: s.Frame.At}
	for c, in := range s.Frame.Inputs {
		now.qualities[c] = in.Quality
	}
	since := now.at - p.state.at
	due := !p.state.made || since >= p.o.StateEvery || since >= p.settle && now.qualities != p.state.qualities
	if urgent || due {
		p.state = now
		p.tellState()
	}
}

// tellState queues the state, as it will be when it is sent. p.mu is held.
func (p *Publisher) tellState() {
	p.queue.add(&message{class: states, topic: p.topic("state"), retained: true, newest: true, body: p.summary})
}

func (p *Publisher) offerTelemetry(s *status.Status) {
	at := s.Frame.At
	live := at < p.live && p.stats.Connected
	if p.outbox != nil {
		p.outbox.tick(at)
		if !live && len(p.samples) == 0 {
			return // it comes out of the history
		}
	}
	packEvery, sampleEvery, mean := p.o.PackEvery, p.o.SampleEvery, p.mean
	if live {
		packEvery, sampleEvery, mean = min(packEvery, liveEvery), min(sampleEvery, liveEvery), 0
	}
	if len(p.samples) > 0 && (at-p.packing >= packEvery || !live && p.outbox != nil) {
		samples := p.samples
		p.samples = nil
		if mean > 0 {
			samples = means(samples, mean)
		}
		p.queue.add(&message{class: telemetry, topic: p.topic("telemetry"), body: func(latest *status.Status) ([]byte, error) {
			o := origin{boot: p.o.BootID, at: latest.Frame.At}
			if latest.ClockTrusted {
				o.at = samples[0].at
				o.wall = latest.WallOf(o.at)
			}
			return pack(p.topic(""), o, mean, samples)
		}})
	}
	if !live && p.outbox != nil || len(p.samples) > 0 && at-p.sampled < sampleEvery {
		return
	}
	for _, c := range frame.All() {
		if in := s.Frame.Inputs[c]; verdict.Readable(in) {
			if len(p.samples) == 0 {
				p.packing = at
			}
			p.samples = append(p.samples, sample{at, c, in})
		}
	}
	p.sampled = at
}

// greet queues all that a broker must know after a connection has come up.
func (p *Publisher) greet() {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.online()
	if p.latest == nil {
		return
	}
	for _, a := range p.latest.Assessment.Alarms {
		if !p.unknown(a) {
			p.tell(a, p.latest.Assessment.Account(a.Key))
		}
	}
	p.tellState()
}

// online queues that we are there. p.mu is held.
func (p *Publisher) online() {
	p.queue.add(&message{
		class: availabilities, topic: p.topic("availability"), retained: true, newest: true,
		body: func(*status.Status) ([]byte, error) { return p.available("online") },
	})
}

// RetainedTopics lists the topics on which the publisher of a site retains, below the default
// root.
func RetainedTopics(site string, all []alarm.Status) []string {
	topics := []string{root("", site) + "availability", root("", site) + "state"}
	for _, a := range all {
		topics = append(topics, root("", site)+"alarm/"+a.Key.String())
	}
	return topics
}

func (p *Publisher) topic(rest string) string { return root(p.o.Root, p.o.Site) + rest }

// rouse tells the sender that there may be something to send.
func (p *Publisher) rouse() {
	select {
	case p.wake <- struct{}{}:
	default:
	}
}
