package main

import (
	"bufio"
	"encoding/json"
	"math"
	"os"
	"os/exec"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"
)

// ear is an independent subscriber at the broker: mosquitto_sub, which says when each message
// came. Its session outlasts its connection.
type ear struct {
	t   *testing.T
	cmd *exec.Cmd

	mu      sync.Mutex
	raised  map[told]time.Time        // when it was first heard
	events  map[string]string         // what each said, by its id
	repeats int                       // of events
	samples map[string]map[int64]bool // times of telemetry by site, ms since 1970
	lost    map[string]int            // wills
	bytes   int
}

// told is the raising of an alarm.
type told struct {
	site, alarm string
	occurrence  uint32
}

func listen(t *testing.T, b *broker) *ear {
	t.Helper()
	e := &ear{t: t, raised: map[told]time.Time{}, events: map[string]string{}, samples: map[string]map[int64]bool{}, lost: map[string]int{}}
	e.cmd = exec.Command("mosquitto_sub", "-h", "127.0.0.1", "-p", strconv.Itoa(b.desk),
		"-i", "desk", "-c", "-q", "1", "-F", "%U %t %p", "-t", "fluewright/+/event", "-t", "fluewright/+/telemetry", "-t", "fluewright/+/availability")
	out, err := e.cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	e.cmd.Stderr = os.Stderr
	if err := e.cmd.Start(); err != nil {
		t.Fatal(err)
	}
	done := make(chan struct{})
	go func() {
		defer close(done)
		lines := bufio.NewScanner(out)
		lines.Buffer(nil, 1<<20)
		for lines.Scan() {
			e.hear(lines.Text())
		}
	}()
	t.Cleanup(func() {
		_ = e.cmd.Process.Kill()
		<-done
		_ = e.cmd.Wait()
	})
	return e
}

func (e *ear) hear(line string) {
	at, rest, _ := strings.Cut(line, " ")
	topic, payload, _ := strings.Cut(rest, " ")
	seconds, err := strconv.ParseFloat(at, 64)
	if err != nil {
		e.t.Errorf("heard %q", line)
		return
	}
	came := time.UnixMicro(int64(math.Round(seconds * 1e6)))
	part := strings.Split(topic, "/")
	site, what := part[1], part[2]
	e.mu.Lock()
	defer e.mu.Unlock()
	e.bytes += len(payload)
	switch what {
	case "availability":
		if strings.Contains(payload, `"lost"`) {
			e.lost[site]++
		}
	case "event":
		var ev struct {
			ID, Type string
			Data     struct {
				Alarm, Channel, State string
				Occurrence            uint32
			}
		}
		if err := json.Unmarshal([]byte(payload), &ev); err != nil {
			e.t.Errorf("event %q: %v", payload, err)
			return
		}
		if before, again := e.events[ev.ID]; again {
			e.repeats++
			if before != payload {
				e.t.Errorf("%s said %s and then %s", ev.ID, before, payload)
			}
			return
		}
		e.events[ev.ID] = payload
		if ev.Type != "fluewright.alarm" || ev.Data.State != "raised" {
			return
		}
		k := told{site, ev.Data.Alarm, ev.Data.Occurrence}
		if ev.Data.Channel != "" {
			k.alarm += "/" + ev.Data.Channel
		}
		if _, known := e.raised[k]; !known { // it is told again when its account changes
			e.raised[k] = came
		}
	case "telemetry":
		var records []struct {
			BaseTime float64 `json:"bt"`
			Time     float64 `json:"t"`
		}
		if err := json.Unmarshal([]byte(payload), &records); err != nil || len(records) == 0 {
			e.t.Errorf("telemetry %q: %v", payload, err)
			return
		}
		if e.samples[site] == nil {
			e.samples[site] = map[int64]bool{}
		}
		for _, r := range records {
			e.samples[site][int64(math.Round((records[0].BaseTime+r.Time)*1000))] = true
		}
	}
}

// first is when an alarm was first heard of; ok is false if it was not.
func (e *ear) first(k told) (at time.Time, ok bool) {
	e.mu.Lock()
	defer e.mu.Unlock()
	at, ok = e.raised[k]
	return at, ok
}

// slots are the stretches of ten seconds since a time of which there is a sample.
func (e *ear) slots(site string, since time.Time) (all map[int64]bool, last int64) {
	e.mu.Lock()
	defer e.mu.Unlock()
	all = map[int64]bool{}
	for ms := range e.samples[site] {
		slot := (ms - since.UnixMilli()) / 10_000
		all[slot] = true
		last = max(last, slot)
	}
	return all, last
}
