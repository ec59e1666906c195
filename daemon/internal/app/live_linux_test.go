package app

import (
	"net"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"fluewright/analysis"
	"fluewright/analysis/alarm"
	"fluewright/daemon/internal/access"
	"fluewright/daemon/internal/config"
	"fluewright/daemon/internal/porttest"
	"fluewright/daemon/internal/status"
	"fluewright/daemon/internal/web/browsertest"
	"fluewright/sensors"
	"fluewright/sensors/bench"
)

// The owner's page, from a flue that gets too hot over a tap to the next start of the
// program, all of it in one page that nobody loads again.
func TestAnAlarmIsTakenOnTheOwnersPage(t *testing.T) {
	b := browsertest.Start(t)
	house, err := bench.New(bench.Config{Seed: 1})
	if err != nil {
		t.Fatal(err)
	}
	if err := house.Register(); err != nil {
		t.Fatal(err)
	}
	defer house.Close()
	do := func(lines ...string) {
		for _, line := range lines {
			if _, err := house.Do(line); err != nil {
				t.Fatal(err)
			}
		}
	}
	do("pin flue 200", "pin chamber 500", "pin draft 12", "pin plenum 50", "pin room 20")
	cfg, err := config.Demo()
	if err != nil {
		t.Fatal(err)
	}
	state := t.TempDir()
	if err := access.Load(state).Add(t.Context(), "Ann", access.Owner, "a long password"); err != nil {
		t.Fatal(err)
	}
	cfg.Web.Listen, cfg.MQTT.Embedded = porttest.Free(t).String(), "127.0.0.1:0"
	var raised atomic.Pointer[time.Time]
	o := Options{Clock: sensors.SystemClock{}, State: state, Tick: func(s *status.Status) {
		for _, e := range s.Assessment.Events {
			if e.Kind == analysis.AlarmChanged && e.Alarm.Key.Name == alarm.Overheat && e.Change == alarm.WasRaised {
				now := time.Now()
				raised.Store(&now)
			}
		}
	}}
	_, stop := launchFor(t, cfg, o)
	line := newLine(t, cfg.Web.Listen)

	tab := b.Tab(t, browsertest.Look{Width: 390, Dark: true})
	tab.Open(line.url + "sign-in")
	tab.Eval(`document.querySelector('[name=name]').value = 'Ann'; document.querySelector('[name=password]').value = 'a long password'`, nil)
	tab.Loading(func() { tab.Tap("main form button[type=submit]") })
	tab.Until(`location.pathname === '/' && document.body.classList.contains('may-acknowledge')`, 10*time.Second)
	tab.Until(`document.querySelector('#verdict').innerText !== ''`, 5*time.Second)
	tab.Said() // what the first pages said is not of this test

	do("pin flue 700")
	const alarmed = `document.querySelector('#alarms').innerText.includes('Flue: too hot')`
	tab.Until(alarmed, 60*time.Second)
	if after := time.Since(*raised.Load()); after > time.Second {
		t.Errorf("the page showed the alarm %v after the tick that raised it", after)
	} else {
		t.Logf("the page showed the alarm %v after the tick that raised it", after)
	}
	tab.Shot("raised")

	// The finger is still down when the next second comes.
	tab.Eval(`window.one = document.querySelector('#alarms button')`, nil)
	time.Sleep(2500 * time.Millisecond)
	same := false
	if tab.Eval(`window.one === document.querySelector('#alarms button')`, &same); !same {
		t.Error("the button was replaced by another, and a tap may be lost")
	}
	tab.Tap("#alarms button")
	const taken = `document.querySelector('#further')?.innerText.includes('Acknowledged by Ann') && document.querySelector('#alarms').innerText === ''`
	tab.Until(taken, 10*time.Second)
	tab.Check("acknowledged")

	// The line dies without a word, as a telephone's does behind a cellar's door.
	const old = `document.body.classList.contains('is-old') && !document.querySelector('#contact').hidden`
	line.mute(true)
	if after := tab.Until(old, 10*time.Second); after > 5*time.Second {
		t.Errorf("that it is old is said after %v", after)
	} else {
		t.Logf("that it is old is said after %v", after)
	}
	tab.Check("no-contact")
	line.mute(false)
	line.cut()
	tab.Until("!("+old+")", 15*time.Second)

	// The program is started anew.
	stop()
	tab.Until(old, 5*time.Second)
	launch(t, cfg, o)
	t.Logf("after the next start the page is live again in %v", tab.Until("!("+old+")", 20*time.Second))
	tab.Until(taken, 10*time.Second)
	fresh := b.Tab(t, browsertest.Look{Width: 1280})
	fresh.Open(line.url)
	fresh.Until(`document.querySelector('#further').innerText.includes('Acknowledged by Ann')`, 10*time.Second)
	if got := fresh.Text("#further"); strings.Contains(got, "Sign in to acknowledge") {
		t.Errorf("what was taken can be taken again: %s", got)
	}
}

// lossy is a line between a telephone and the program that can die.
type lossy struct {
	url   string
	muted atomic.Bool
	mu    sync.Mutex
	ends  []net.Conn
}

func newLine(t *testing.T, to string) *lossy {
	t.Helper()
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	l := &lossy{url: "http://" + listener.Addr().String() + "/"}
	t.Cleanup(func() { _ = listener.Close(); l.cut() })
	go func() {
		for {
			near, err := listener.Accept()
			if err != nil {
				return
			}
			far, err := net.Dial("tcp", to)
			if err != nil {
				_ = near.Close()
				continue
			}
			l.mu.Lock()
			l.ends = append(l.ends, near, far)
			l.mu.Unlock()
			go l.carry(near, far)
			go l.carry(far, near)
		}
	}()
	return l
}

func (l *lossy) carry(from, to net.Conn) {
	buffer := make([]byte, 32<<10)
	for {
		n, err := from.Read(buffer)
		if err == nil && !l.muted.Load() {
			_, err = to.Write(buffer[:n])
		}
		if err != nil {
			_, _ = from.Close(), to.Close()
			return
		}
	}
}

// mute lets nothing through, and tells nobody.
func (l *lossy) mute(on bool) { l.muted.Store(on) }

// cut ends all connections.
func (l *lossy) cut() {
	l.mu.Lock()
	defer l.mu.Unlock()
	for _, c := range l.ends {
		_ = c.Close()
	}
	l.ends = nil
}
