package notify

import (
	"context"
	"crypto/rand"
	"encoding/hex"
	"strconv"
	"sync"
	"time"

	"fluewright/analysis/alarm"
	"fluewright/analysis/frame"
)

// TestMessage is what somebody is sent to see whether it arrives.
func TestMessage(site string, p Person, transport string, now time.Time, id string) Message {
	return Message{
		ID: name(site, "test", id, transport), Kind: Test, Site: site, Person: p.Name, Transport: transport, Units: p.Units,
		Priority: alarm.Medium, At: now, Trusted: true,
	}
}

// sample is a letter with everything in it, and signs that need care in any format.
func sample() Letter {
	at := time.Date(2026, time.January, 17, 3, 12, 0, 0, time.UTC)
	line := Line{
		Key: alarm.Key{Name: alarm.Overheat, Channel: frame.Flue}, Occurrence: 3, Priority: alarm.High, First: true,
		State: "raised", Since: at, Times: 1,
		Text: Text{What: "flue: \"too hot\" (1200 °F,\nlimit 1000 °F)", Action: "Keep the doors shut & <do not> open them\\."},
	}
	ended := line
	ended.Key, ended.State, ended.Until = alarm.Key{Name: alarm.Spillage, Channel: frame.Count}, "over", at.Add(time.Hour)
	return Write(Message{
		ID: "cellar-overheat-flue-3-raised-0", Kind: Alarm, Site: "cellar", Person: "owner", Transport: "phone",
		Priority: alarm.High, At: at.Add(time.Minute), Trusted: true, Lines: []Line{line, ended}, Standing: []Line{line},
	}, "token")
}

// Tried is what became of the test of one transport of a person.
type Tried struct {
	Person    string `json:"person"`
	Transport string `json:"transport"`
	Sent      bool   `json:"sent"` // the next station took it
	Error     string `json:"error,omitempty"`
	// Asked says that an acknowledgement was waited for, and Acknowledged that it came,
	// After so many seconds.
	Asked        bool    `json:"asked"`
	Acknowledged bool    `json:"acknowledged"`
	After        float64 `json:"seconds,omitempty"`
}

// OK reports whether all that can be known went well.
func (t Tried) OK() bool { return t.Sent && (!t.Asked || t.Acknowledged) }

// Try sends a test through every transport of a person, all at once, with the time in the
// site's zone, and waits up to wait
// for the acknowledgement of those that can bring one. say is called with each step, from
// one goroutine at a time; the results are in the order of the transports.
func Try(ctx context.Context, site string, zone *time.Location, p Person, transports map[string]Transport, wait time.Duration, say func(string, Tried)) []Tried {
	key := make([]byte, KeyBytes)
	_, _ = rand.Read(key) // never fails
	sealer := Sealer{key}
	results := make([]Tried, len(p.Via))
	var mu sync.Mutex
	var all sync.WaitGroup
	for i, via := range p.Via {
		all.Go(func() {
			t := Tried{Person: p.Name, Transport: via}
			told := func(step string) {
				mu.Lock()
				defer mu.Unlock()
				say(step, t)
			}
			id := hex.EncodeToString(key[:4]) + "-" + strconv.Itoa(i)
			m := TestMessage(site, p, via, time.Now().In(zone), id)
			within, cancel := context.WithTimeout(ctx, sendWithin)
			err := transports[via].Send(within, Write(m, sealer.SealTest(id)))
			cancel()
			t.Sent = err == nil
			if err != nil {
				t.Error = err.Error()
				told("failed")
				results[i] = t
				return
			}
			push, ok := transports[via].(*Push)
			t.Asked = ok && push.Answers != ""
			told("sent")
			if t.Asked {
				began := time.Now()
				t.Acknowledged = push.awaits(ctx, wait, func(token string) bool { return sealer.OpensTest(token, id) })
				t.After = time.Since(began).Seconds()
				told("answered")
			}
			results[i] = t
		})
	}
	all.Wait()
	return results
}

// awaits reports whether an answer that is meant comes in time.
func (p *Push) awaits(ctx context.Context, wait time.Duration, meant func(string) bool) bool {
	ctx, cancel := context.WithTimeout(ctx, wait)
	defer cancel()
	came := false
	since := "2m" // what was answered before we listened
	for ctx.Err() == nil && !came {
		since, _ = p.Listen(ctx, since, func(token string) {
			if meant(token) {
				came = true
				cancel()
			}
		})
		select {
		case <-ctx.Done():
		case <-time.After(2 * time.Second):
		}
	}
	return came
}
