package main

import (
	"bufio"
	"encoding/json"
	"math"
	"os"
	"os/exec"
	"slices"
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
	raised  map[told]map[string]time.Time // when the event was first heard, by its id
	repeats int                           // of events
	samples map[string]map[int64]bool     // times of telemetry by site, s
	lost    map[string]int                // wills
	bytes   int
}

// told is the raising of an alarm.
type told struct {
	site, alarm string
	occurrence  uint32
}

func listen(t *testing.T, b *broker) *ear {
	t.Helper()
	e := &ear{t: t, raised: map[told]map[string]time.Time{}, samples: map[string]map[int64]bool{}, lost: map[string]int{}}
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
		if ev.Type != "fluewright.alarm" || ev.Data.State != "raised" {
			return
		}
		k := told{site, ev.Data.Alarm, ev.Data.Occurrence}
		if ev.Data.Channel != "" {
			k.alarm += "/" + ev.Data.Channel
		}
		if e.raised[k] == nil {
			e.raised[k] = map[string]time.Time{}
		}
		if _, again := e.raised[k][ev.ID]; again {
			e.repeats++
			return
		}
		e.raised[k][ev.ID] = came
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
			e.samples[site][int64(math.Floor(records[0].BaseTime+r.Time))] = true
		}
	}
}

// first is when an alarm was first heard of; ok is false if it was not.
func (e *ear) first(k told) (at time.Time, ok bool) {
	e.mu.Lock()
	defer e.mu.Unlock()
	for _, came := range e.raised[k] {
		if !ok || came.Before(at) {
			at, ok = came, true
		}
	}
	return at, ok
}

// widest is the widest hole in a site's telemetry, and how long it reaches back and forth.
func (e *ear) widest(site string) (hole int64, from, to time.Time) {
	e.mu.Lock()
	defer e.mu.Unlock()
	var all []int64
	for at := range e.samples[site] {
		all = append(all, at)
	}
	if len(all) == 0 {
		return math.MaxInt64, from, to
	}
	slices.Sort(all)
	for i := range all[1:] {
		hole = max(hole, all[i+1]-all[i])
	}
	return hole, time.Unix(all[0], 0), time.Unix(all[len(all)-1], 0)
}
