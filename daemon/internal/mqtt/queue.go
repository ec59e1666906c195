package mqtt

import (
	"slices"

	"fluewright/daemon/internal/status"
)

// class orders what waits: what comes first is sent first.
type class uint8

const (
	availabilities class = iota
	alarms
	events
	states
	replies
	telemetry
	chunks
	backfill
	classes
)

// limits bounds what may wait where messages do not replace each other: an hour of
// flapping alarms, and half an hour of telemetry at the default interval.
var limits = [classes]int{events: 1000, replies: 50, telemetry: 30}

// message is one that waits for delivery, or for its acknowledgement.
type message struct {
	class    class
	topic    string
	retained bool
	// newest is set where a newer message on the topic makes this one needless.
	newest bool
	// body writes the payload when it is sent, so that its times follow the clock as it
	// is known by then.
	body func(latest *status.Status) ([]byte, error)
	sent bool // in the broker's hands, not acknowledged
	// gate is that behind which it waits: see queue.open.
	gate uint64
	// done is told what became of a chunk; nil for others.
	done chan error
	// past marks what came out of the history and comes again from there, acked is called once
	// it is acknowledged, with the publisher locked.
	past  bool
	acked func()
}

// queue holds messages until they are acknowledged. Those of one class keep their order.
type queue struct {
	lists   [classes][]*message
	dropped uint64
	// open is the last gate that was opened: messages behind a later one wait.
	open uint64
}

// add puts m at the end, or in the place of an unsent one that it makes needless.
func (q *queue) add(m *message) {
	list := q.lists[m.class]
	if m.newest {
		if i := slices.IndexFunc(list, func(o *message) bool { return o.topic == m.topic && !o.sent }); i >= 0 {
			list[i] = m
			return
		}
	}
	if limit := limits[m.class]; limit > 0 && len(list) >= limit {
		if oldest := slices.IndexFunc(list, func(o *message) bool { return !o.sent }); oldest >= 0 {
			list = slices.Delete(list, oldest, oldest+1)
			q.dropped++
		}
	}
	q.lists[m.class] = append(list, m)
}

// next returns the message to send next, nil when none may go, and counts it as sent.
// Gates come in the order of the messages, so that none overtakes another of its class.
func (q *queue) next() *message {
	for c, list := range q.lists {
		if class(c) >= chunks && slices.ContainsFunc(list, func(m *message) bool { return m.sent }) {
			continue // one at a time: what is urgent must not wait behind more
		}
		if i := slices.IndexFunc(list, func(m *message) bool { return !m.sent && m.gate <= q.open }); i >= 0 {
			list[i].sent = true
			return list[i]
		}
	}
	return nil
}

// remove forgets m: it was acknowledged.
func (q *queue) remove(m *message) {
	q.lists[m.class] = slices.DeleteFunc(q.lists[m.class], func(o *message) bool { return o == m })
}

// recall takes back what was sent and not acknowledged, to be sent again in its order,
// and returns how many messages that were.
func (q *queue) recall() int {
	n := 0
	for c, list := range q.lists {
		replaced := make(map[string]bool)
		for _, m := range slices.Backward(list) {
			if m.sent {
				n++
			}
			if m.newest && replaced[m.topic] {
				q.lists[c] = slices.DeleteFunc(q.lists[c], func(o *message) bool { return o == m })
			}
			replaced[m.topic] = true
			m.sent = false
		}
	}
	return n
}

// forget takes out what comes out of the history again, and returns how many of it were sent.
func (q *queue) forget() (sent int) {
	for c := range q.lists {
		q.lists[c] = slices.DeleteFunc(q.lists[c], func(m *message) bool {
			if m.past && m.sent {
				sent++
			}
			return m.past
		})
	}
	return sent
}

// past lists what came out of the history, of one class.
func (q *queue) past(c class) (all []*message) {
	for _, m := range q.lists[c] {
		if m.past {
			all = append(all, m)
		}
	}
	return all
}

// pending returns how many messages wait or are not acknowledged.
func (q *queue) pending() int {
	n := 0
	for _, list := range q.lists {
		n += len(list)
	}
	return n
}
