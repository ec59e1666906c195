package mqtt

import (
	"fmt"
	"strings"
	"sync"
	"testing"

	"fluewright/daemon/internal/status/statustest"
)

// Who listens is told what the broker keeps, and can tell it from what is said now. More than is
// waited for at a time is no hindrance.
func TestListen(t *testing.T) {
	addr := mosquitto(t, "")
	p := start(t, options("tcp://"+addr))
	p.Offer(statustest.Burning())
	eventually(t, "all is with the broker", func() bool { s := p.Stats(); return s.Published > 0 && s.Pending == 0 })
	r := subscribe(t, "tcp://"+addr, "nothing")
	const more = 3 * mostHeard
	for i := range more {
		if token := r.client.Publish(fmt.Sprintf("fluewright/site-%d/availability", i), 1, true, "{}"); !token.WaitTimeout(patience) {
			t.Fatal("the broker does not take it")
		}
	}
	var mu sync.Mutex
	kept, said := map[string]int{}, 0
	c, err := Listen(t.Context(), CallOptions{Broker: "tcp://" + addr, ClientID: "listener"}, func(h Heard) {
		mu.Lock()
		defer mu.Unlock()
		_, what, _ := strings.Cut(h.Topic, "/")
		if h.Retained {
			kept[what]++
		} else {
			said++
		}
	}, "+/availability", "+/state", "+/alarm/#")
	if err != nil {
		t.Fatal(err)
	}
	defer c.Close()
	eventually(t, "what is kept", func() bool {
		mu.Lock()
		defer mu.Unlock()
		return kept["availability"] == more+1 && kept["state"] == 1 && kept["alarm/overheat/flue"] == 1 && kept["alarm/spillage"] == 1
	})
	r.client.Publish("fluewright/site-1/availability", 1, true, "{}")
	eventually(t, "what is said now", func() bool {
		mu.Lock()
		defer mu.Unlock()
		return said == 1
	})
}
