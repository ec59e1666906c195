package notify

import (
	"context"
	"errors"
	"log/slog"
	"net/http"
	"os"
	"path/filepath"
	"slices"
	"sync"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"

	"fluewright/analysis/alarm"
	"fluewright/analysis/frame"
	"fluewright/daemon/internal/notify/notifytest"
	"fluewright/daemon/internal/status"
	"fluewright/daemon/internal/status/statustest"
)

// box is a transport within the test.
type box struct {
	mu   sync.Mutex
	got  []Letter
	at   []time.Time
	err  error
	hang bool
}

func (b *box) Send(ctx context.Context, l Letter) error {
	b.mu.Lock()
	err, hang := b.err, b.hang
	b.mu.Unlock()
	if hang {
		<-ctx.Done()
		return ctx.Err()
	}
	b.mu.Lock()
	defer b.mu.Unlock()
	if err == nil {
		b.got, b.at = append(b.got, l), append(b.at, time.Now())
	}
	return err
}

func (b *box) set(err error, hang bool) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.err, b.hang = err, hang
}

func (b *box) kinds() (all []Kind) {
	b.mu.Lock()
	defer b.mu.Unlock()
	for _, l := range b.got {
		all = append(all, l.Kind)
	}
	return all
}

// letters are what arrived, and times when.
func (b *box) letters() []Letter {
	b.mu.Lock()
	defer b.mu.Unlock()
	return slices.Clone(b.got)
}

func (b *box) times() []time.Time {
	b.mu.Lock()
	defer b.mu.Unlock()
	return slices.Clone(b.at)
}

// post is a courier that runs, with its boxes.
type post struct {
	*Courier
	phone, mail *box
	stop        func()
}

func start(t *testing.T, state string, change func(*Options)) *post {
	t.Helper()
	p := &post{phone: &box{}, mail: &box{}}
	o := Options{
		Site: "cellar-7", Policy: household(), State: state, Random: func() float64 { return 0.5 },
		Transports: map[string]Transport{"phone": p.phone, "mail": p.mail, "other": &box{}},
		Log:        slog.New(slog.DiscardHandler),
		Acknowledge: func(context.Context, Acknowledgement) error {
			return errors.New("there is nobody to take it")
		},
	}
	if change != nil {
		change(&o)
	}
	c, err := New(o)
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(t.Context())
	ended := make(chan error, 1)
	go func() { ended <- c.Run(ctx) }()
	p.Courier = c
	p.stop = sync.OnceFunc(func() {
		cancel()
		if err := <-ended; err != nil {
			t.Errorf("Run ends with %v", err)
		}
	})
	t.Cleanup(p.stop)
	return p
}

// raised is a tick at which the flue is too hot.
func raised(s alarm.State) *status.Status {
	now := statustest.Burning()
	now.Wall = time.Now().Round(0).UTC()
	statustest.Change(now, alarm.Overheat, frame.Flue, s, 705, 700)
	return now
}

func calm() *status.Status {
	now := statustest.Burning()
	now.Wall = time.Now().Round(0).UTC()
	return now
}

func TestAnAlarmIsToldAtOnce(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		p := start(t, "", nil)
		p.Offer(calm())
		time.Sleep(time.Minute)
		began := time.Now()
		p.Offer(raised(alarm.Raised))
		time.Sleep(time.Second)
		if len(p.phone.letters()) != 1 || p.phone.times()[0].Sub(began) > 50*time.Millisecond {
			t.Fatalf("got %v at %v", p.phone.kinds(), p.phone.times())
		}
		if s := p.Stats(); s.Attempts["phone"] != [3]uint64{1, 0, 0} || s.Delivered["phone"].IsZero() {
			t.Errorf("counted %+v", s)
		}
		p.stop()
	})
}

// What stands when the program begins is told too.
func TestWhatStandsAtTheStartIsTold(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		p := start(t, "", nil)
		s := raised(alarm.Raised)
		s.Assessment.Events = nil
		p.Offer(s)
		time.Sleep(time.Second)
		if got := p.phone.kinds(); !slices.Equal(got, []Kind{Alarm}) {
			t.Errorf("got %v", got)
		}
		p.stop()
	})
}

func TestAnAlarmWaitsForTheStorageAndNotForLong(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		p := start(t, "", func(o *Options) {
			o.Durable = func(ctx context.Context) error { <-ctx.Done(); return ctx.Err() }
		})
		p.Offer(calm())
		time.Sleep(time.Minute)
		began := time.Now()
		p.Offer(raised(alarm.Raised))
		time.Sleep(announceWithin - time.Millisecond)
		if got := p.phone.kinds(); len(got) > 0 {
			t.Errorf("told %v before it is durable", got)
		}
		time.Sleep(time.Minute)
		if len(p.phone.times()) != 1 || p.phone.times()[0].Sub(began) > announceWithin+50*time.Millisecond {
			t.Errorf("told at %v", p.phone.times())
		}
		p.stop()
	})
}

// Receivers that hang hold up nobody: not the loop, and not the other transports.
func TestReceiversThatHang(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		p := start(t, "", nil)
		p.phone.set(nil, true)
		began := time.Now()
		p.Offer(raised(alarm.Raised))
		for range 2 * mostNews {
			p.Offer(raised(alarm.Raised))
		}
		if time.Since(began) > 0 {
			t.Errorf("the loop was held up for %v", time.Since(began))
		}
		time.Sleep(time.Minute)
		if got := p.mail.kinds(); !slices.Equal(got, []Kind{Alarm}) {
			t.Errorf("mail got %v", got)
		}
		time.Sleep(11 * time.Minute)
		if got := p.Stats().Trouble; !slices.Equal(got, []string{"phone"}) {
			t.Errorf("trouble is %q", got)
		}
		p.phone.set(nil, false)
		time.Sleep(5 * time.Minute)
		if got := p.Stats().Trouble; len(got) > 0 || len(p.phone.letters()) == 0 || p.phone.letters()[0].Kind != Summary {
			t.Errorf("trouble is %q, told %v", got, p.phone.kinds())
		}
		p.stop()
	})
}

// A long outage costs attempts, and neither memory nor a flood.
func TestSixHoursOfOutage(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		p := start(t, "", func(o *Options) { o.Policy.People = o.Policy.People[:1]; o.Policy.People[0].Via = []string{"phone"} })
		p.phone.set(errors.New("no network"), false)
		p.Offer(calm())
		for range 36 {
			p.Offer(raised(alarm.Raised))
			time.Sleep(10 * time.Minute)
		}
		if n := p.Stats().Attempts["phone"][Failed]; n < 100 || n > 400 {
			t.Errorf("%d attempts in six hours", n)
		}
		p.phone.set(nil, false)
		time.Sleep(3 * time.Minute)
		if got := p.phone.kinds(); !slices.Equal(got, []Kind{Summary}) {
			t.Errorf("told %v", got)
		}
		p.stop()
	})
}

// Killed at any step, the next run neither repeats nor forgets; what was on its way is sent
// again under the same name.
func TestKilledAtAnyStep(t *testing.T) {
	t.Run("after it was told", func(t *testing.T) {
		synctest.Test(t, func(t *testing.T) {
			dir := t.TempDir()
			p := start(t, dir, nil)
			p.Offer(raised(alarm.Raised))
			time.Sleep(time.Second)
			p.stop()
			time.Sleep(time.Minute)
			q := start(t, dir, nil)
			q.Offer(raised(alarm.Raised))
			time.Sleep(time.Minute)
			if got := q.phone.kinds(); len(got) > 0 {
				t.Errorf("told again: %v", got)
			}
			time.Sleep(8 * time.Minute) // ten since it was told first
			if got := q.phone.kinds(); !slices.Equal(got, []Kind{Reminder}) {
				t.Errorf("reminded %v", got)
			}
			q.stop()
			r := start(t, dir, nil)
			r.Offer(raised(alarm.Normal))
			time.Sleep(time.Minute)
			if got := r.phone.kinds(); !slices.Equal(got, []Kind{Over}) {
				t.Errorf("the end is told as %v", got)
			}
			r.stop()
		})
	})
	t.Run("on its way", func(t *testing.T) {
		synctest.Test(t, func(t *testing.T) {
			dir := t.TempDir()
			p := start(t, dir, nil)
			p.phone.set(nil, true)
			p.Offer(raised(alarm.Raised))
			time.Sleep(time.Second)
			p.stop()
			var names []string
			for range 2 {
				q := start(t, dir, nil)
				q.Offer(raised(alarm.Raised))
				time.Sleep(time.Second)
				q.stop()
				for _, l := range q.phone.letters() {
					names = append(names, l.ID)
				}
			}
			if want := []string{"cellar-7-overheat-flue-1-raised-0-owner-phone"}; !slices.Equal(names, want) {
				t.Errorf("sent %q, want %q", names, want)
			}
		})
	})
	t.Run("with a memory that is damaged", func(t *testing.T) {
		synctest.Test(t, func(t *testing.T) {
			dir := t.TempDir()
			if err := os.WriteFile(filepath.Join(dir, FileName), []byte(`{"version":`), 0o644); err != nil {
				t.Fatal(err)
			}
			p := start(t, dir, nil)
			p.Offer(raised(alarm.Raised))
			time.Sleep(time.Second)
			if _, err := os.Stat(filepath.Join(dir, BrokenName)); err != nil || len(p.phone.letters()) != 1 {
				t.Errorf("%v, told %v", err, p.phone.kinds())
			}
			p.stop()
		})
	})
}

// The button of a message reaches whoever keeps the alarms, through the server alone.
func TestTheButtonAcknowledges(t *testing.T) {
	server := notifytest.Start(t)
	acks := make(chan Acknowledgement, 10)
	p := start(t, t.TempDir(), func(o *Options) {
		o.Transports["phone"] = NewPush(Push{Server: server.URL, Topic: "owner", Answers: "answers"})
		o.Acknowledge = func(_ context.Context, a Acknowledgement) error { acks <- a; return nil }
	})
	p.Offer(raised(alarm.Raised))
	in := <-server.Arrived
	if err := in.Press(); err != nil {
		t.Fatal(err)
	}
	want := Acknowledgement{alarm.Key{Name: alarm.Overheat, Channel: frame.Flue}, 1, "owner"}
	if got := <-acks; got != want {
		t.Errorf("got %+v, want %+v", got, want)
	}
	in.Actions[0].Body = "fw1 somebody overheat/flue:2 AAAA"
	if err := in.Press(); err != nil {
		t.Fatal(err)
	}
	for end := time.Now().Add(10 * time.Second); p.Stats().Unaccepted == 0 && time.Now().Before(end); {
		time.Sleep(10 * time.Millisecond)
	}
	if s := p.Stats(); s.Unaccepted != 1 || s.Acknowledged != 1 || len(acks) > 0 {
		t.Errorf("counted %+v", s)
	}
	key, err := os.Stat(filepath.Join(p.o.State, KeyName))
	if err != nil || key.Mode().Perm() != 0o600 {
		t.Errorf("the key: %v, %v", err, key)
	}
}

func TestHeartbeat(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		h := NewHeartbeat("http://127.0.0.1:1/secret", 5*time.Minute, nil, slog.New(slog.DiscardHandler))
		var mu sync.Mutex
		alive, beats := true, []time.Duration{}
		began := time.Now()
		h.Alive = func() bool { mu.Lock(); defer mu.Unlock(); return alive }
		h.client.Transport = tripper(func() { beats = append(beats, time.Since(began)) })
		ctx, cancel := context.WithCancel(t.Context())
		ended := make(chan error)
		go func() { ended <- h.Run(ctx) }()
		time.Sleep(12 * time.Minute)
		mu.Lock()
		alive = false
		mu.Unlock()
		time.Sleep(time.Hour)
		mu.Lock()
		alive = true
		mu.Unlock()
		time.Sleep(time.Minute)
		cancel()
		<-ended
		want := []time.Duration{0, 5 * time.Minute, 10 * time.Minute}
		if len(beats) != 4 || !slices.Equal(beats[:3], want) || beats[3] < 72*time.Minute || beats[3] > 73*time.Minute {
			t.Errorf("beats at %v", beats)
		}
		if n := h.Attempts(); n != [3]uint64{4, 0, 0} {
			t.Errorf("counted %v", n)
		}
	})
}

// tripper answers every request.
type tripper func()

func (f tripper) RoundTrip(req *http.Request) (*http.Response, error) {
	f()
	return &http.Response{StatusCode: http.StatusOK, Body: http.NoBody, Request: req}, nil
}

// Anybody may post to the topic of answers: a flood is counted, and the owner's answer
// comes through it once.
func TestAFloodOfAnswers(t *testing.T) {
	server := notifytest.Start(t)
	var asked atomic.Int64
	p := start(t, "", func(o *Options) {
		o.Transports["phone"] = NewPush(Push{Server: server.URL, Topic: "owner", Answers: "answers"})
		o.Acknowledge = func(context.Context, Acknowledgement) error { asked.Add(1); return nil }
	})
	good := p.sealer.Seal("owner", []Line{{Key: overheat, Occurrence: 1}})
	for i := range 10000 {
		if i%1000 == 500 {
			server.Post("answers", good) // the owner's, and then whoever has read it
		}
		server.Post("answers", "fw1 nonsense")
	}
	for end := time.Now().Add(20 * time.Second); p.Stats().Unaccepted < 10000 && time.Now().Before(end); {
		time.Sleep(10 * time.Millisecond)
	}
	if s := p.Stats(); s.Unaccepted != 10000 || s.Acknowledged != 1 || asked.Load() != 1 {
		t.Errorf("counted %+v, asked %d times", s, asked.Load())
	}
}

// What a telephone waits for beyond sampling and hold time, over a real connection and with
// the memory on a real disk.
func TestPromptness(t *testing.T) {
	if testing.Short() {
		t.Skip("it measures; under the race detector and an emulator that says nothing")
	}
	server := notifytest.Start(t)
	var took []time.Duration
	for range 100 {
		p := start(t, t.TempDir(), func(o *Options) {
			o.Transports["phone"] = NewPush(Push{Server: server.URL, Topic: "owner"})
		})
		p.Offer(calm())
		began := time.Now()
		p.Offer(raised(alarm.Raised))
		took = append(took, (<-server.Arrived).At.Sub(began))
		p.stop()
	}
	slices.Sort(took)
	t.Logf("median %v, p99 %v, longest %v", took[50], took[98], took[99])
	if took[98] > time.Second {
		t.Errorf("p99 is %v", took[98])
	}
}
