package fleettest

import (
	"strings"
	"testing"

	"github.com/eclipse/paho.mqtt.golang/packets"
)

// Connections that come and go, are refused or are thrown out do not use the limit up; and no
// message is taken that is larger than what monitors send.
func TestLimits(t *testing.T) {
	t.Parallel()
	a := NewAuthority(t)
	b := NewBroker(t, a)
	b.Stop()
	b.Install("mosquitto.conf", strings.Replace(Text(t, b.file), "max_connections 1500\n", "max_connections 3\n", 1))
	b.Start()
	nobody := a.TLS(Identity{})
	one, other := a.TLS(a.Site("cellar-7")), a.TLS(a.Site("barn-2"))
	for i := range 10 {
		if _, err := Dial(t, b.Sites, nobody, Hello{ClientID: "x"}); err == nil {
			t.Error("nobody comes in")
		}
		Join(t, b.Sites, one, Hello{ClientID: "x"}) // throws out the one before
		c := Join(t, b.Sites, other, Hello{ClientID: "x"})
		if i%2 == 0 {
			c.Quit()
		} else {
			c.Break()
		}
	}
	third, fourth := a.TLS(a.Site("barn-3")), a.TLS(a.Site("barn-4"))
	standing := Join(t, b.Sites, other, Hello{ClientID: "x"})
	eventually(t, "there is room", func() bool { _, err := Dial(t, b.Sites, third, Hello{ClientID: "x"}); return err == nil })
	_, err := Dial(t, b.Sites, fourth, Hello{ClientID: "x"})
	t.Logf("one more than the limit comes in: %v", err == nil) // it does before 2.0.12, and the page says so
	desk := Join(t, b.People, a.TLS(a.Person("desk", "")), Hello{})
	desk.Hear("fluewright/+/reply/#")
	const topic = "fluewright/barn-2/reply/asker-1/1/chunk"
	standing.Say(topic, strings.Repeat("x", 100_000), false)
	if n := len(desk.All()); n != 1 {
		t.Errorf("the desk hears %d pieces", n)
	}
	p := packets.NewControlPacket(packets.Publish).(*packets.PublishPacket)
	p.TopicName, p.Payload = topic, make([]byte, 200_000)
	if err := p.Write(standing.conn); err == nil && !standing.Lost(patience) {
		t.Error("a message without bounds is taken")
	}
}
