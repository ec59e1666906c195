package mqtt

import (
	"net"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"
	"github.com/google/go-cmp/cmp"

	"fluewright/analysis"
	"fluewright/analysis/burn"
	"fluewright/daemon/internal/mqtt/mqtttest"
	"fluewright/daemon/internal/porttest"
	"fluewright/daemon/internal/status"
)

// soon has a publisher give up on a broker that acknowledges nothing after a second, so that
// nobody waits half a minute for a test.
func soon(m *monitor) { m.ackTimeout = time.Second }

// brokers is a real broker that a test does things to, with a line before it and somebody who
// listens.
type brokers struct {
	t       *testing.T
	program string
	addr    *net.TCPAddr
	with    string // its settings
	*served
	line             *line
	*mqtttest.Broker // what somebody heard
	reader           paho.Client
}

func realBroker(t *testing.T, settings string) *brokers {
	b := &brokers{t: t, program: real(t, "mosquitto"), with: settings, Broker: &mqtttest.Broker{}}
	b.addr = porttest.Free(t)
	b.start()
	b.line = lay(t, b.addr.String())
	return b
}

// start starts the broker, and somebody listens before the line stands.
func (b *brokers) start() {
	b.t.Helper()
	b.served = serve(b.t, b.program, b.addr.Port, b.with)
	b.reader = paho.NewClient(paho.NewClientOptions().AddBroker("tcp://" + b.addr.String()).SetClientID("reader").SetAutoReconnect(false).SetOrderMatters(true))
	done := func(token paho.Token) {
		if !token.WaitTimeout(patience) || token.Error() != nil {
			b.t.Fatalf("the reader cannot reach the broker: %v", token.Error())
		}
	}
	done(b.reader.Connect())
	done(b.reader.Subscribe("fluewright/#", 1, func(_ paho.Client, m paho.Message) {
		b.Keep(m.Topic(), m.Payload())
	}))
	reader := b.reader
	b.t.Cleanup(func() { reader.Disconnect(0) })
}

// A broker that is killed, restarted, frozen, full, or behind a line that is dead without
// saying so: every transition comes, in order, and the telemetry is whole.
func TestOutageMatrix(t *testing.T) {
	for name, outage := range map[string]func(t *testing.T, b *brokers, meanwhile func()){
		"killed": func(_ *testing.T, b *brokers, meanwhile func()) {
			b.line.held.Store(true)
			b.kill()
			meanwhile()
			b.start()
			b.line.held.Store(false)
		},
		"restarted": func(_ *testing.T, b *brokers, meanwhile func()) {
			b.line.held.Store(true)
			_ = b.Signal(syscall.SIGTERM)
			<-b.gone
			b.start()
			b.line.held.Store(false)
			meanwhile()
		},
		"frozen": func(_ *testing.T, b *brokers, meanwhile func()) {
			_ = b.Signal(syscall.SIGSTOP)
			meanwhile()
			time.Sleep(1500 * time.Millisecond) // it is given up, and reached for again
			_ = b.Signal(syscall.SIGCONT)
		},
		"half open": func(_ *testing.T, b *brokers, meanwhile func()) {
			b.line.deaf.Store(true)
			b.line.silence()
			meanwhile()
			time.Sleep(1500 * time.Millisecond)
			b.line.deaf.Store(false)
		},
		"mute": func(_ *testing.T, b *brokers, meanwhile func()) {
			b.line.silence() // it takes everything, and its answers are lost
			meanwhile()
			time.Sleep(1500 * time.Millisecond)
		},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			b := realBroker(t, "persistence false\nallow_anonymous true\n")
			weather(t, b, func(meanwhile func()) { outage(t, b, meanwhile) })
		})
	}
}

// weather runs a monitor through an outage.
func weather(t *testing.T, b *brokers, outage func(meanwhile func())) {
	o := options(b.line.url())
	o.FillRate = 1 << 30
	m := watch(t, t.TempDir(), "b00t", evening, o, soon)
	eventually(t, "online", online(b.Broker))
	m.flap(2)
	m.ticks(4 * time.Minute)
	eventually(t, "the first alarms", func() bool { return len(transitions(t, b.Broker)) == 2 })
	outage(func() {
		m.flap(30)
		m.ticks(20 * time.Minute)
	})
	m.flap(2)
	m.ticks(2 * time.Minute)
	end := m.last.Wall.Truncate(time.Minute)
	whole := int(end.Sub(evening) / (10 * time.Second))
	eventually(t, "all that was missed", func() bool {
		all, _ := readings(t, b.Of("telemetry"))
		return len(transitions(t, b.Broker)) == 34 && len(all) >= whole
	})
	if diff := cmp.Diff(flapping(34), transitions(t, b.Broker)); diff != "" {
		t.Errorf("transitions (-want +got):\n%s", diff)
	}
	all, _ := readings(t, b.Of("telemetry"))
	complete(t, all, evening, end)
	eventually(t, "nothing waits", func() bool { return m.Stats().Pending == 0 })
	if s := m.Stats(); s.Dropped != 0 || s.Outbox.TooOld+s.Outbox.NoTime != 0 {
		t.Errorf("%+v %+v", s, s.Outbox)
	}
}

// A broker whose disk is full says so in its log and goes on: what it has acknowledged is with
// whoever listens.
func TestABrokerWhoseDiskIsFull(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	if err := syscall.Mount("tmpfs", dir, "tmpfs", 0, "size=32k,mode=777"); err != nil {
		if os.Getenv("FLUEWRIGHT_REAL") == "1" {
			t.Fatalf("no small file system: %v", err)
		}
		t.Skipf("no small file system: %v", err)
	}
	t.Cleanup(func() {
		if err := syscall.Unmount(dir, syscall.MNT_DETACH); err != nil {
			t.Error(err)
		}
	})
	if err := os.WriteFile(filepath.Join(dir, "ballast"), make([]byte, 28<<10), 0o600); err != nil {
		t.Fatal(err)
	}
	b := realBroker(t, "persistence true\npersistence_location "+dir+"/\nautosave_interval 5\nautosave_on_changes true\nallow_anonymous true\n")
	weather(t, b, func(meanwhile func()) { meanwhile() })
	b.kill()
	if said := b.said.String(); !strings.Contains(said, "No space left") && !strings.Contains(strings.ToLower(said), "error") {
		t.Errorf("the broker's disk was not full:\n%.2000s", said)
	}
}

// A broker that takes what it is sent and acknowledges nothing gets a handful of messages a
// connection, and does not grow what waits.
func TestABrokerThatAcknowledgesNothing(t *testing.T) {
	t.Parallel()
	h := mqtttest.Start(t)
	h.Does(func(mqtttest.Heard) (bool, bool) { return false, false })
	m := watch(t, t.TempDir(), "b00t", evening, options(h.URL()), soon)
	m.flap(60)
	m.ticks(30 * time.Minute)
	eventually(t, "three connections", func() bool {
		all := h.Of("availability")
		return len(all) > 0 && all[len(all)-1].Conn >= 3
	})
	perConn := map[int]int{}
	for _, g := range h.All() {
		perConn[g.Conn]++
	}
	for conn, n := range perConn {
		if n > maxUnacked {
			t.Errorf("connection %d was sent %d messages", conn, n)
		}
	}
	if n := m.Stats().Pending; n > 60 {
		t.Errorf("%d messages wait", n)
	}
	h.Does(nil)
	eventually(t, "all alarms", func() bool { return len(transitions(t, h)) == 60 })
	if diff := cmp.Diff(flapping(60), transitions(t, h)); diff != "" {
		t.Errorf("transitions (-want +got):\n%s", diff)
	}
}

// A week without a broker, a reading each half minute, does not show in memory, while it is
// away or afterwards.
func TestAWeekTakesNoMemory(t *testing.T) {
	if testing.Short() {
		t.Skip("it plays a week")
	}
	h := mqtttest.Start(t)
	h.Away(true)
	o := options(h.URL())
	o.FillRate = 1 << 30
	begin := time.Now().Add(-8 * 24 * time.Hour).Truncate(time.Minute).UTC()
	o.BackFill = 30 * 24 * time.Hour
	m := watch(t, t.TempDir(), "b00t", begin, o)
	var most, before runtime.MemStats
	m.ticks(10 * time.Minute)
	runtime.GC()
	runtime.ReadMemStats(&before)
	for range 7 * 24 {
		m.flap(2)
		for range 2 * 60 {
			m.last.Wall, m.last.Frame.At = m.last.Wall.Add(29*time.Second), m.last.Frame.At+29*time.Second
			m.tick()
		}
		if err := m.store.Commit(t.Context()); err != nil {
			t.Fatal(err)
		}
	}
	var got int
	var alarms []string
	var mu sync.Mutex
	h.Forget() // nothing is kept here that would count
	h.Does(func(p mqtttest.Heard) (bool, bool) {
		mu.Lock()
		defer mu.Unlock()
		got += len(p.Payload)
		if p.ID != "" {
			alarms = append(alarms, p.ID)
		}
		return true, false
	})
	h.Away(false)
	began := time.Now()
	peak := uint64(0)
	for m.lacks() > 0 || m.Stats().Pending > 0 {
		if time.Since(began) > 2*time.Minute {
			t.Fatalf("%d rows are missing still: %+v", m.lacks(), m.Stats())
		}
		runtime.ReadMemStats(&most)
		peak = max(peak, most.HeapInuse)
		time.Sleep(20 * time.Millisecond)
	}
	mu.Lock()
	defer mu.Unlock()
	t.Logf("%d bytes and %d events in %v; heap %.1f MiB before, %.1f MiB at most", got, len(alarms), time.Since(began), float64(before.HeapInuse)/(1<<20), float64(peak)/(1<<20))
	if len(alarms) != 2*7*24 || got < 4<<20 {
		t.Errorf("%d events and %d bytes came", len(alarms), got)
	}
	if grown := int64(peak) - int64(before.HeapInuse); grown > 24<<20 {
		t.Errorf("the heap grows by %d bytes", grown)
	}
}

// lacks is how much of the run the broker has not, ms, but for the present interval.
func (m *monitor) lacks() int64 {
	m.mu.Lock()
	defer m.mu.Unlock()
	p := m.outbox.progress
	if p.Rows.Identity != m.o.BootID {
		return 1
	}
	return max(m.last.Frame.At.Milliseconds()-p.Rows.MS-2*m.o.PackEvery.Milliseconds(), 0)
}

// A metered site's day on the wire: telemetry, states, two burns with their alarms.
func TestMeteredDay(t *testing.T) {
	count := func(t *testing.T, metered bool) (bytes, messages int) {
		h := mqtttest.Start(t)
		o := options(h.URL())
		o.Metered = metered
		m := watch(t, t.TempDir(), "b00t", evening, o)
		eventually(t, "online", online(h))
		day := 24 * 60
		for i := range day {
			for s := range 60 {
				m.tick(func(st *status.Status) {
					if s == 0 && i%(day/2) == 300 {
						st.Assessment.Events = append(st.Assessment.Events, analysis.Event{At: st.Frame.At, Kind: analysis.PhaseChanged, From: burn.Cold, To: burn.Lighting})
					}
				})
			}
			if i%(day/2) == 400 {
				m.flap(2)
			}
			eventually(t, "what is due", func() bool { return m.Stats().Pending == 0 && m.lacks() <= 2*m.o.PackEvery.Milliseconds() })
		}
		for _, g := range h.All() {
			// Fixed header, topic, id; its PUBACK; and for each of the two packets and their TCP
			// acknowledgements 40 bytes of TCP and IP without options.
			bytes += len(g.Payload) + len("fluewright/cellar-7/") + len(g.Topic) + 2 + 2 + 3 + 4 + 3*40
			messages++
		}
		pings := int(24 * time.Hour / m.keepAlive())
		return bytes + pings*(2+2+3*40), messages
	}
	if testing.Short() {
		t.Skip("it plays a day")
	}
	bytes, messages := count(t, true)
	t.Logf("metered: %d messages, some %d bytes a day with TCP and IP, %.1f MB in 30 days; no TLS", messages, bytes, float64(bytes)*30/1e6)
	if month := bytes * 30; month > 6e6 {
		t.Errorf("%d bytes in a month", month)
	}
}
