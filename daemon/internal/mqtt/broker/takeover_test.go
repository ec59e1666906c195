package broker

import (
	"log/slog"
	"testing"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"
	mochi "github.com/mochi-mqtt/server/v2"
	"github.com/mochi-mqtt/server/v2/packets"
)

// dawdle holds up the first client between its welcome and the first read from it.
type dawdle struct {
	mochi.HookBase
	first chan struct{}
	wait  time.Duration
}

func (*dawdle) Provides(b byte) bool { return b == mochi.OnSessionEstablished }

func (d *dawdle) OnSessionEstablished(*mochi.Client, packets.Packet) {
	select {
	case d.first <- struct{}{}:
		time.Sleep(d.wait)
	default:
	}
}

// TestALastWillIsSaidByWhoIsNotReadFromYet: a publisher that is thrown out by its successor
// right after its welcome is lost as any other.
func TestALastWillIsSaidByWhoIsNotReadFromYet(t *testing.T) {
	b, err := Start(Options{
		Listen: "127.0.0.1:0", Root: "fluewright/cellar-7/", ClientID: "fluewright-cellar-7", Log: slog.New(slog.DiscardHandler),
		Retained: []string{"fluewright/cellar-7/availability"},
	})
	if err != nil {
		t.Fatal(err)
	}
	defer b.Close()
	if err := b.server.AddHook(&dawdle{first: make(chan struct{}, 1), wait: 100 * time.Millisecond}, nil); err != nil {
		t.Fatal(err)
	}
	user, password := b.Credentials()
	for range 2 {
		c := paho.NewClient(paho.NewClientOptions().AddBroker(b.Own()).SetUsername(user).SetPassword(password).
			SetClientID("fluewright-cellar-7").SetAutoReconnect(false).SetProtocolVersion(4).
			SetWill("fluewright/cellar-7/availability", "lost", 1, true))
		if token := c.Connect(); !token.WaitTimeout(5*time.Second) || token.Error() != nil {
			t.Fatalf("connect: %v", token.Error())
		}
		defer c.Disconnect(10)
	}
	if messages, _ := b.retained.held(); messages != 1 {
		t.Errorf("%d messages retained, want the last will of the first", messages)
	}
}
