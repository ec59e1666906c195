package homie_test

import (
	"context"
	"encoding/json"
	"log/slog"
	"math"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"

	"fluewright/analysis/alarm"
	"fluewright/analysis/frame"
	"fluewright/daemon/internal/mqtt/broker"
	"fluewright/daemon/internal/mqtt/homie"
	"fluewright/daemon/internal/mqtt/mqtttest"
	"fluewright/daemon/internal/status"
	"fluewright/daemon/internal/status/statustest"
	"fluewright/daemon/internal/verdict"
	"fluewright/sensors"
)

const patience = 5 * time.Second

var site = verdict.Site{
	Fitted: statustest.Fitted,
	Render: func(a alarm.Status, _ *status.Status) (string, string) {
		return "ALARM " + a.Key.String(), "Look at it."
	},
}

// controller is a home automation: it knows what every topic of the device retains.
type controller struct {
	t    *testing.T
	b    *broker.Broker
	mu   sync.Mutex
	has  map[string]string
	said []string // topic=payload, in order
}

func newController(t *testing.T) *controller {
	t.Helper()
	b, err := broker.Start(broker.Options{
		Listen: "127.0.0.1:0", Root: "fluewright/cellar-7/", ClientID: "fluewright-cellar-7", Log: slog.New(slog.DiscardHandler),
		Retained: homie.Topics("cellar-7", statustest.Fitted, statustest.Burning().Assessment.Alarms),
	})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = b.Close() })
	c := &controller{t: t, b: b, has: map[string]string{}}
	client := paho.NewClient(paho.NewClientOptions().AddBroker(b.URL()).SetClientID("controller").SetOrderMatters(true))
	if token := client.Connect(); !token.WaitTimeout(patience) || token.Error() != nil {
		t.Fatal(token.Error())
	}
	t.Cleanup(func() { client.Disconnect(10) })
	mqtttest.Subscribe(t, client, "homie/5/cellar-7/#", func(_ paho.Client, m paho.Message) {
		c.mu.Lock()
		defer c.mu.Unlock()
		topic := strings.TrimPrefix(m.Topic(), "homie/5/cellar-7/")
		c.has[topic] = string(m.Payload())
		c.said = append(c.said, topic+"="+string(m.Payload()))
	})
	return c
}

func (c *controller) get(topic string) string {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.has[topic]
}

func (c *controller) until(topic, payload string) {
	c.t.Helper()
	for deadline := time.Now().Add(patience); c.get(topic) != payload; time.Sleep(time.Millisecond) {
		if time.Now().After(deadline) {
			c.t.Fatalf("%s is %q, want %q", topic, c.get(topic), payload)
		}
	}
}

// follow waits for messages, one after the other, from those of now on; before does what
// they follow from.
func (c *controller) follow(before func(), messages ...string) {
	c.t.Helper()
	c.mu.Lock()
	from := len(c.said)
	c.mu.Unlock()
	before()
	for _, m := range messages {
		for deadline := time.Now().Add(2 * patience); ; time.Sleep(time.Millisecond) {
			c.mu.Lock()
			i := slices.Index(c.said[from:], m)
			c.mu.Unlock()
			if i >= 0 {
				from += i + 1
				break
			}
			if time.Now().After(deadline) {
				c.t.Fatalf("no %s; heard %q", m, c.said)
			}
		}
	}
}

// show runs a device; stop ends it and waits.
func (c *controller) show(feed *status.Feed) (stop func()) {
	c.t.Helper()
	o := homie.Options{
		Site: "cellar-7", Broker: c.b.Own(), ClientID: "fluewright-cellar-7-homie", Feed: feed, Verdict: site,
		Alarms: statustest.Burning().Assessment.Alarms, StaleAfter: 5 * time.Second, Every: 10 * time.Millisecond, Log: slog.New(slog.DiscardHandler),
	}
	o.User, o.Password = c.b.Credentials()
	d, err := homie.New(o)
	if err != nil {
		c.t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan error, 1)
	go func() { done <- d.Run(ctx) }()
	stop = sync.OnceFunc(func() {
		cancel()
		if err := <-done; err != nil {
			c.t.Error(err)
		}
	})
	c.t.Cleanup(stop)
	return stop
}

func TestWhatIsShown(t *testing.T) {
	c := newController(t)
	feed := status.NewFeed()
	s := statustest.Burning()
	feed.Publish(s)
	stop := c.show(feed)
	c.until("$state", "ready")
	for topic, want := range map[string]string{
		"flue/value": "236.4", "flue/quality": "good", "draft/value": "12.5", "draft/average": "12.3", "ambient/value": "98213",
		"burn/phase": "clean-burn", "monitor/level": "well",
	} {
		if got := c.get(topic); got != want {
			t.Errorf("%s is %q, want %q", topic, got, want)
		}
	}
	if got := c.get("monitor/says"); got == "" {
		t.Error("it says nothing")
	}

	s = statustest.After(s, time.Second)
	statustest.Change(s, alarm.Overheat, frame.Flue, alarm.Raised, 705, 700)
	statustest.Lose(s, frame.Draft, sensors.NoAnswer)
	feed.Publish(s)
	c.until("$alert/overheat-flue", "ALARM overheat/flue. Look at it.")
	c.until("draft/value", "")
	c.until("draft/quality", "fault")
	c.until("monitor/level", "alarm")

	s = statustest.After(s, time.Second)
	statustest.Change(s, alarm.Overheat, frame.Flue, alarm.Normal, 600, 700)
	feed.Publish(s)
	c.until("$alert/overheat-flue", "")
	stop()
	c.until("$state", "disconnected")

	c.mu.Lock()
	defer c.mu.Unlock()
	// Announced in the convention's order, and with the quality gone before the number.
	order := func(first, then string) {
		t.Helper()
		i, j := slices.Index(c.said, first), slices.Index(c.said, then)
		if i < 0 || j < 0 || i > j {
			t.Errorf("%s is at %d, %s at %d", first, i, then, j)
		}
	}
	if !strings.HasPrefix(c.said[0], "$state=init") || !strings.HasPrefix(c.said[1], "$description=") {
		t.Errorf("it begins with %q", c.said[:2])
	}
	order("flue/value=236.4", "$state=ready")
	order("draft/quality=fault", "draft/value=")
}

// What is described is what is shown, and the other way round; nothing can be set, and every
// payload is of its type.
func TestTheDescription(t *testing.T) {
	c := newController(t)
	feed := status.NewFeed()
	s := statustest.Burning()
	statustest.Change(s, alarm.Spillage, frame.Count, alarm.Raised, -2, 0)
	feed.Publish(s)
	c.show(feed)
	c.until("$state", "ready")
	var d struct {
		Homie   string
		Version uint32
		Nodes   map[string]struct {
			Properties map[string]struct {
				Datatype, Format, Unit string
				Settable               bool
			}
		}
	}
	if err := json.Unmarshal([]byte(c.get("$description")), &d); err != nil {
		t.Fatal(err)
	}
	if d.Homie != "5.0" || d.Version == 0 {
		t.Errorf("version %s, %d", d.Homie, d.Version)
	}
	id := regexp.MustCompile(`^[a-z0-9-]+$`)
	described := map[string]bool{}
	c.mu.Lock()
	defer c.mu.Unlock()
	for name, n := range d.Nodes {
		for prop, p := range n.Properties {
			topic := name + "/" + prop
			described[topic] = true
			got, there := c.has[topic]
			if !id.MatchString(name) || !id.MatchString(prop) || !there || p.Settable {
				t.Errorf("%s: shown %v, settable %v", topic, there, p.Settable)
			}
			switch p.Datatype {
			case "float":
				if v, err := strconv.ParseFloat(got, 64); got != "" && (err != nil || math.IsNaN(v) || math.IsInf(v, 0)) || p.Unit != "°C" && p.Unit != "Pa" {
					t.Errorf("%s is %q in %q", topic, got, p.Unit)
				}
			case "enum":
				if !slices.Contains(strings.Split(p.Format, ","), got) {
					t.Errorf("%s is %q, of %s", topic, got, p.Format)
				}
			case "string":
			default:
				t.Errorf("%s is a %s", topic, p.Datatype)
			}
		}
	}
	known := homie.Topics("cellar-7", statustest.Fitted, s.Assessment.Alarms)
	for topic := range c.has {
		alert, isAlert := strings.CutPrefix(topic, "$alert/")
		if !described[topic] && topic != "$state" && topic != "$description" && !(isAlert && id.MatchString(alert)) {
			t.Errorf("%s is shown and not described", topic)
		}
		if !slices.Contains(known, "homie/5/cellar-7/"+topic) {
			t.Errorf("%s is not among the topics", topic)
		}
		if strings.HasSuffix(topic, "/set") {
			t.Errorf("%s", topic)
		}
	}
}

// A device that is thrown out says "lost" by its will, and is ready again; what an earlier run
// left that nobody can judge is taken away, and what it left that is not judged yet stays.
func TestLostAndBack(t *testing.T) {
	c := newController(t)
	user, password := c.b.Credentials()
	former := paho.NewClient(paho.NewClientOptions().AddBroker(c.b.Own()).SetUsername(user).SetPassword(password).SetClientID("former"))
	if token := former.Connect(); !token.WaitTimeout(patience) || token.Error() != nil {
		t.Fatal(token.Error())
	}
	for _, alert := range []string{"boredom", "spillage"} {
		former.Publish("homie/5/cellar-7/$alert/"+alert, 1, true, "of an earlier run").WaitTimeout(patience)
	}
	feed := status.NewFeed()
	feed.Publish(statustest.Starting())
	c.show(feed)
	c.until("$alert/boredom", "")
	c.until("$state", "ready")
	if got := c.get("$alert/spillage"); got != "of an earlier run" {
		t.Errorf("an alert that is not judged yet became %q", got)
	}
	// Somebody with its name throws it out.
	c.follow(func() {
		thief := paho.NewClient(paho.NewClientOptions().AddBroker(c.b.Own()).SetUsername(user).SetPassword(password).SetClientID("fluewright-cellar-7-homie").SetAutoReconnect(false))
		if token := thief.Connect(); !token.WaitTimeout(patience) || token.Error() != nil {
			t.Fatal(token.Error())
		}
		thief.Disconnect(10)
	}, "$state=lost", "$state=init", "$state=ready")
	// And a will that comes late is contradicted.
	c.follow(func() { former.Publish("homie/5/cellar-7/$state", 1, true, "lost").WaitTimeout(patience) }, "$state=lost", "$state=ready")
	former.Disconnect(10)
}

// A loop that stands still has no present: nothing is shown as if it were.
func TestALoopThatStandsStill(t *testing.T) {
	t.Parallel()
	c := newController(t)
	feed := status.NewFeed()
	feed.Publish(statustest.Burning())
	c.show(feed)
	c.until("flue/quality", "good")
	for deadline := time.Now().Add(4 * patience); c.get("flue/quality") != "stale"; time.Sleep(10 * time.Millisecond) {
		if time.Now().After(deadline) {
			t.Fatal("it is shown as good for ever")
		}
	}
	c.until("flue/value", "")
	c.until("burn/phase", "unknown")
	c.until("monitor/level", "blind")
}

func TestNew(t *testing.T) {
	for _, b := range []string{"", "broker.example:1883", "ws://broker.example:80", "tcp://"} {
		if _, err := homie.New(homie.Options{Site: "cellar-7", Broker: b}); err == nil {
			t.Errorf("%q is taken", b)
		}
	}
}
