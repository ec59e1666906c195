package broker_test

import (
	"log/slog"
	"strings"
	"testing"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"

	"fluewright/daemon/internal/mqtt/broker"
	"fluewright/daemon/internal/mqtt/mqtttest"
)

const patience = 5 * time.Second

func start(t *testing.T) *broker.Broker {
	t.Helper()
	b, err := broker.Start(broker.Options{
		Listen: "127.0.0.1:0", Root: "fluewright/cellar-7/", ClientID: "fluewright-cellar-7", Log: slog.New(slog.DiscardHandler),
		Retained: []string{"fluewright/cellar-7/availability", "fluewright/cellar-7/alarm/spillage"},
	})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := b.Close(); err != nil {
			t.Error(err)
		}
	})
	return b
}

func connect(t *testing.T, b *broker.Broker, change func(*paho.ClientOptions)) (paho.Client, error) {
	t.Helper()
	o := paho.NewClientOptions().AddBroker(b.URL()).SetAutoReconnect(false).SetProtocolVersion(4)
	change(o)
	c := paho.NewClient(o)
	token := c.Connect()
	if !token.WaitTimeout(patience) {
		t.Fatal("the broker does not answer")
	}
	if token.Error() == nil {
		t.Cleanup(func() { c.Disconnect(10) })
	}
	return c, token.Error()
}

func publisher(t *testing.T, b *broker.Broker) paho.Client {
	t.Helper()
	c, err := connect(t, b, func(o *paho.ClientOptions) {
		ours(b, o)
	})
	if err != nil {
		t.Fatal(err)
	}
	return c
}

// ours makes the options those of the publisher.
func ours(b *broker.Broker, o *paho.ClientOptions) {
	user, password := b.Credentials()
	o.Servers = nil
	o.AddBroker(b.Own()).SetUsername(user).SetPassword(password).SetClientID("fluewright-cellar-7")
}

// listen returns what is published under filter, as topic=payload.
func listen(t *testing.T, c paho.Client, filter string) <-chan string {
	t.Helper()
	got := make(chan string, 100)
	mqtttest.Subscribe(t, c, filter, func(_ paho.Client, m paho.Message) {
		said := m.Topic() + "=" + string(m.Payload())
		if m.Retained() {
			said += " (retained)"
		}
		got <- said
	})
	return got
}

func expect(t *testing.T, got <-chan string, want string) {
	t.Helper()
	select {
	case have := <-got:
		if have != want {
			t.Errorf("got %s, want %s", have, want)
		}
	case <-time.After(patience):
		t.Errorf("no %s", want)
	}
}

func TestWhoMayConnect(t *testing.T) {
	b := start(t)
	user, password := b.Credentials()
	for _, tt := range []struct {
		name               string
		id, user, password string
		ok                 bool
	}{
		{"anybody, as nobody", "phone", "", "", true},
		{"the publisher", "fluewright-cellar-7", user, password, true},
		{"a wrong password", "x", user, password + "x", false},
		{"no password", "x", user, "", false},
		{"another user", "x", "admin", password, false},
		{"somebody who takes the publisher's place", "fluewright-cellar-7", "", "", false},
	} {
		t.Run(tt.name, func(t *testing.T) {
			_, err := connect(t, b, func(o *paho.ClientOptions) { o.SetClientID(tt.id).SetUsername(tt.user).SetPassword(tt.password) })
			if (err == nil) != tt.ok {
				t.Errorf("connect: %v", err)
			}
		})
	}
}

// TestWhoMayWrite lets an anonymous client try each topic; only what the publisher
// writes and what is a command may arrive.
func TestWhoMayWrite(t *testing.T) {
	b := start(t)
	own := publisher(t, b)
	got := listen(t, own, "fluewright/#")
	for _, tt := range []struct {
		topic  string
		retain bool
		passes bool
	}{
		{"fluewright/cellar-7/alarm/overheat/flue", true, false},
		{"fluewright/cellar-7/availability", false, false},
		{"fluewright/cellar-7/command/acknowledge", false, true},
		{"fluewright/cellar-7/command/acknowledge", true, false},
		{"fluewright/cellar-7/command", false, false},
		{"fluewright/cellar-7/commands/x", false, false},
		{"fluewright//command/x", false, false},
		{"other/cellar-7/command/x", false, false},
		{"$SYS/broker/x", false, false},
	} {
		// A client of its own for each: the broker may throw out who writes without right.
		c, err := connect(t, b, func(o *paho.ClientOptions) { o.SetClientID("intruder") })
		if err != nil {
			t.Fatal(err)
		}
		c.Publish(tt.topic, 0, tt.retain, "mine").WaitTimeout(patience)
		// What comes after it on the same connection shows that it was handled.
		c.Publish("fluewright/cellar-7/command/mark", 0, false, "end").WaitTimeout(patience)
		if tt.passes {
			expect(t, got, tt.topic+"=mine")
		}
		expect(t, got, "fluewright/cellar-7/command/mark=end")
		c.Disconnect(10)
	}
}

// TestAWillIsNoWayRound: the library does not ask whether a will may be written.
func TestAWillIsNoWayRound(t *testing.T) {
	b := start(t)
	got := listen(t, publisher(t, b), "fluewright/#")
	for _, will := range []struct {
		topic  string
		retain bool
	}{{"fluewright/cellar-7/alarm/spillage", true}, {"fluewright/cellar-7/availability", false}, {"fluewright/cellar-7/command/x", true}} {
		c, err := connect(t, b, func(o *paho.ClientOptions) {
			o.SetClientID("intruder").SetWill(will.topic, "mine", 0, will.retain)
		})
		if err != nil {
			t.Fatal(err)
		}
		// A second client with the same id makes the broker end the first without a
		// DISCONNECT, which sends its will.
		if _, err := connect(t, b, func(o *paho.ClientOptions) { o.SetClientID("intruder") }); err != nil {
			t.Fatal(err)
		}
		mark, err := connect(t, b, func(o *paho.ClientOptions) { o.SetClientID("marker") })
		if err != nil {
			t.Fatal(err)
		}
		mark.Publish("fluewright/cellar-7/command/mark", 0, false, "end").WaitTimeout(patience)
		expect(t, got, "fluewright/cellar-7/command/mark=end")
		c.Disconnect(0)
	}
}

// TestRetained: who comes later is told what was retained last, by each kind of filter.
func TestRetained(t *testing.T) {
	b := start(t)
	own := publisher(t, b)
	live := listen(t, own, "fluewright/#")
	for _, m := range [][2]string{
		{"fluewright/cellar-7/availability", "online"},
		{"fluewright/cellar-7/alarm/spillage", "raised"},
		{"fluewright/cellar-7/alarm/spillage", "normal"},
		{"fluewright/cellar-7/availability", ""},
	} {
		own.Publish(m[0], 1, true, m[1])
		expect(t, live, m[0]+"="+m[1])
	}
	for _, filter := range []string{"#", "fluewright/#", "fluewright/+/alarm/+", "fluewright/cellar-7/alarm/spillage"} {
		reader, err := connect(t, b, func(o *paho.ClientOptions) { o.SetClientID("reader") })
		if err != nil {
			t.Fatal(err)
		}
		got := listen(t, reader, filter)
		expect(t, got, "fluewright/cellar-7/alarm/spillage=normal (retained)")
		own.Publish("fluewright/cellar-7/alarm/spillage", 1, false, "end")
		expect(t, got, "fluewright/cellar-7/alarm/spillage=end")
	}
}

// TestWhoComesBackHears: a reader that connects again beside its own old connection is
// not thrown out with it.
func TestWhoComesBackHears(t *testing.T) {
	b := start(t)
	own := publisher(t, b)
	for range 100 {
		reader, err := connect(t, b, func(o *paho.ClientOptions) { o.SetClientID("phone") })
		if err != nil {
			t.Fatal(err)
		}
		got := listen(t, reader, "fluewright/cellar-7/event")
		own.Publish("fluewright/cellar-7/event", 1, false, "told")
		expect(t, got, "fluewright/cellar-7/event=told")
	}
}

// TestAnUnlistedTopicIsRetainedToo: the list makes it safe, not possible.
func TestAnUnlistedTopicIsRetainedToo(t *testing.T) {
	b := start(t)
	own := publisher(t, b)
	live := listen(t, own, "fluewright/#")
	own.Publish("fluewright/cellar-7/alarm/new", 1, true, "raised")
	expect(t, live, "fluewright/cellar-7/alarm/new=raised")
	reader, err := connect(t, b, func(o *paho.ClientOptions) { o.SetClientID("reader") })
	if err != nil {
		t.Fatal(err)
	}
	expect(t, listen(t, reader, "fluewright/cellar-7/alarm/new"), "fluewright/cellar-7/alarm/new=raised (retained)")
}

// TestTheLastWillIsRetained: the publisher's own will is kept.
func TestTheLastWillIsRetained(t *testing.T) {
	b := start(t)
	if _, err := connect(t, b, func(o *paho.ClientOptions) {
		ours(b, o)
		o.SetWill("fluewright/cellar-7/availability", "lost", 1, true)
	}); err != nil {
		t.Fatal(err)
	}
	present, err := connect(t, b, func(o *paho.ClientOptions) { o.SetClientID("present") })
	if err != nil {
		t.Fatal(err)
	}
	got := listen(t, present, "#")
	publisher(t, b) // throws the first one out
	select {        // the subscription may have been answered only after the will
	case said := <-got:
		if strings.TrimSuffix(said, " (retained)") != "fluewright/cellar-7/availability=lost" {
			t.Errorf("got %s", said)
		}
	case <-time.After(patience):
		t.Error("no last will")
	}
	late, err := connect(t, b, func(o *paho.ClientOptions) { o.SetClientID("late") })
	if err != nil {
		t.Fatal(err)
	}
	expect(t, listen(t, late, "#"), "fluewright/cellar-7/availability=lost (retained)")
}

// TestReadingWhileItIsRetained is for the race detector.
func TestReadingWhileItIsRetained(t *testing.T) {
	b := start(t)
	own := publisher(t, b)
	done := make(chan struct{})
	go func() {
		defer close(done)
		for range 200 {
			own.Publish("fluewright/cellar-7/alarm/spillage", 1, true, "raised").WaitTimeout(patience)
		}
	}()
	reader, err := connect(t, b, func(o *paho.ClientOptions) { o.SetClientID("reader") })
	if err != nil {
		t.Fatal(err)
	}
	for range 50 {
		reader.Subscribe("fluewright/+/alarm/#", 1, func(paho.Client, paho.Message) {}).WaitTimeout(patience)
	}
	<-done
}

func TestStatisticsAreNotServed(t *testing.T) {
	b := start(t)
	reader, err := connect(t, b, func(o *paho.ClientOptions) { o.SetClientID("reader") })
	if err != nil {
		t.Fatal(err)
	}
	token := reader.Subscribe("$SYS/#", 0, nil).(*paho.SubscribeToken)
	if !token.WaitTimeout(patience) || token.Result()["$SYS/#"] != 0x80 {
		t.Errorf("subscribed to $SYS: %v", token.Result())
	}
}

func TestATooLargePacketIsRefused(t *testing.T) {
	b := start(t)
	got := listen(t, publisher(t, b), "fluewright/#")
	lost := make(chan error, 1)
	c, err := connect(t, b, func(o *paho.ClientOptions) {
		o.SetClientID("big").SetConnectionLostHandler(func(_ paho.Client, err error) { lost <- err })
	})
	if err != nil {
		t.Fatal(err)
	}
	c.Publish("fluewright/cellar-7/command/x", 0, false, strings.Repeat("x", 300<<10))
	select {
	case <-lost:
	case m := <-got:
		t.Errorf("%d bytes arrived", len(m))
	case <-time.After(patience):
		t.Error("the broker keeps the client")
	}
}

func TestLoopbackOnly(t *testing.T) {
	for _, listen := range []string{"0.0.0.0:0", ":0", "[::]:0", "192.0.2.1:1883", "board.lan:1883", "127.0.0.1"} {
		if b, err := broker.Start(broker.Options{Listen: listen, Log: slog.New(slog.DiscardHandler)}); err == nil {
			t.Errorf("the broker listens on %s", listen)
			_ = b.Close()
		}
	}
}

// Replies are for who asked, and commands for the publisher alone, whatever somebody
// subscribes to.
func TestWhoMayReadRepliesAndCommands(t *testing.T) {
	b := start(t)
	monitor := publisher(t, b)
	commands := listen(t, monitor, "fluewright/cellar-7/command/#")
	var heard []<-chan string
	var askers []paho.Client
	for _, id := range []string{"asker-one", "asker-two"} {
		c, err := connect(t, b, func(o *paho.ClientOptions) { o.SetClientID(id) })
		if err != nil {
			t.Fatal(err)
		}
		askers = append(askers, c)
		heard = append(heard, listen(t, c, "fluewright/#"))
	}
	if tok := askers[1].Publish("fluewright/cellar-7/command/snapshot", 1, false, "a command"); tok.Wait() && tok.Error() != nil {
		t.Fatal(tok.Error())
	}
	expect(t, commands, "fluewright/cellar-7/command/snapshot=a command")
	monitor.Publish("fluewright/cellar-7/reply/asker-one/1", 1, false, "for one").Wait()
	monitor.Publish("fluewright/cellar-7/state", 1, false, "for all").Wait()
	expect(t, heard[0], "fluewright/cellar-7/reply/asker-one/1=for one")
	expect(t, heard[0], "fluewright/cellar-7/state=for all")
	expect(t, heard[1], "fluewright/cellar-7/state=for all")
}
