package mqtt

import (
	paho "github.com/eclipse/paho.mqtt.golang"
)

// A broker whose rules do not let this site write may acknowledge what it is sent and throw it
// away: MQTT 3.1.1 has no other answer, but to end the connection. Nothing is missing here then,
// and nothing arrives there. So the monitor listens for its own word that it is there: where
// that comes back, the rest goes on too.

// forbids is what a broker answers to a subscription that it does not grant.
const forbids = 0x80

// awaitEcho: from now on our own word is awaited, if the broker has granted its subscription;
// where it has not, nothing can be told. p.mu is held.
func (p *Publisher) awaitEcho(t paho.Token) {
	s, ok := t.(*paho.SubscribeToken)
	p.stats.Unheard = ok && s.Error() == nil && s.Result()[p.topic("availability")] != forbids
}

// echo takes our own word. One that was kept may be from before.
func (p *Publisher) echo(m paho.Message, a *available) {
	if m.Retained() || a.Boot != p.o.BootID {
		return
	}
	p.mu.Lock()
	defer p.mu.Unlock()
	p.stats.Unheard = false
}
