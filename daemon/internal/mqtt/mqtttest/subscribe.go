package mqtttest

import (
	"testing"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"
)

// patience is how long a broker may take for an answer.
const patience = 5 * time.Second

// Subscribe hears what is published under filter, and what is retained of it, each once. A broker
// acknowledges before it sends what was retained, and what is published between the two comes
// twice; with a second answer all of it has been sent.
func Subscribe(t testing.TB, c paho.Client, filter string, heard paho.MessageHandler) {
	t.Helper()
	for _, token := range []func() paho.Token{
		func() paho.Token { return c.Subscribe(filter, 1, heard) },
		func() paho.Token { return c.Unsubscribe("nothing") },
	} {
		if answer := token(); !answer.WaitTimeout(patience) || answer.Error() != nil {
			t.Fatalf("subscribe to %s: %v", filter, answer.Error())
		}
	}
}
