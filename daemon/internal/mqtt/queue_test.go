package mqtt

import (
	"fmt"
	"testing"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"
)

// drain sends everything that waits and returns the topics in the order of sending.
func drain(q *queue) []string {
	var out []string
	for m := q.next(); m != nil; m = q.next() {
		out = append(out, m.topic)
	}
	return out
}

func TestQueueOrder(t *testing.T) {
	q := &queue{}
	for _, m := range []*message{
		{class: telemetry, topic: "pack 1"},
		{class: states, topic: "state", newest: true},
		{class: events, topic: "event 1"},
		{class: alarms, topic: "spillage", newest: true},
		{class: alarms, topic: "overheat", newest: true},
		{class: events, topic: "event 2"},
		{class: alarms, topic: "spillage", newest: true},
		{class: states, topic: "state", newest: true},
		{class: availabilities, topic: "availability", newest: true},
	} {
		q.add(m)
	}
	want := []string{"availability", "spillage", "overheat", "event 1", "event 2", "state", "pack 1"}
	if diff := cmp.Diff(want, drain(q)); diff != "" {
		t.Errorf("order (-want +got):\n%s", diff)
	}
	// A newer status while the older is on its way waits behind it; after the connection
	// is lost only the newer is sent, and the rest again in its order.
	q.add(&message{class: alarms, topic: "spillage", newest: true})
	if diff := cmp.Diff([]string{"spillage"}, drain(q)); diff != "" {
		t.Errorf("a newer one (-want +got):\n%s", diff)
	}
	if n := q.recall(); n != 8 {
		t.Errorf("%d messages were recalled, want 8", n)
	}
	want = []string{"availability", "overheat", "spillage", "event 1", "event 2", "state", "pack 1"}
	if diff := cmp.Diff(want, drain(q)); diff != "" {
		t.Errorf("order after a loss (-want +got):\n%s", diff)
	}
}

// TestQueueLosesNothingUncounted plays any course of additions, sendings, acknowledgements
// and losses: every event is waiting, acknowledged, or counted as dropped, and events go
// out in their order.
func TestQueueLosesNothingUncounted(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		q := &queue{}
		added, acked := 0, 0
		var sent []*message
		for range rapid.IntRange(1, 200).Draw(t, "steps") {
			switch rapid.IntRange(0, 3).Draw(t, "step") {
			case 0:
				for range rapid.IntRange(1, 300).Draw(t, "burst") {
					added++
					q.add(&message{class: events, topic: fmt.Sprintf("%09d", added)})
				}
			case 1:
				if m := q.next(); m != nil {
					if len(sent) > 0 && sent[len(sent)-1].topic >= m.topic {
						t.Fatalf("%s is sent after %s", m.topic, sent[len(sent)-1].topic)
					}
					sent = append(sent, m)
				}
			case 2:
				if len(sent) > 0 {
					q.remove(sent[0])
					sent = sent[1:]
					acked++
				}
			case 3:
				if n := q.recall(); n != len(sent) {
					t.Fatalf("%d recalled, %d were sent", n, len(sent))
				}
				sent = nil
			}
			if got := acked + q.pending() + int(q.dropped); got != added {
				t.Fatalf("%d of %d events are accounted for", got, added)
			}
			if q.pending() > limits[events] {
				t.Fatalf("%d events wait", q.pending())
			}
		}
	})
}
