package main

import (
	"context"
	"encoding/json"
	"flag"
	"fmt"
	"log/slog"
	"maps"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"
)

var (
	load    = flag.Bool("load", false, "a thousand sites for ten minutes")
	lasts   = flag.Duration("lasts", 10*time.Minute, "with -load: how long they burn")
	many    = flag.Int("sites", 1000, "with -load: how many")
	kill    = flag.Bool("kill", false, "with -load: kill the broker, in place of a restart")
	storing = flag.Bool("storage", true, "with Prometheus")
	rules   = flag.String("rules", "../../configs/fleet/prometheus/*.rules.yml", "rules for Prometheus")
)

// The fleet against a real broker and a real Prometheus. In the middle the broker ends and
// comes again: with -kill, and in the ordinary form, it is killed and may lose what was in its
// hands. Every alarm arrives, soon where there is a broker, and is told once; no telemetry
// is missing; the sites come back over a while; the desk's rules are quickly evaluated.
// The form with a thousand wants a machine to itself: a simulator that gets no processor leaves
// frames out, and knocks late and at once.
func TestLoad(t *testing.T) {
	if testing.Short() {
		t.Skip("it takes a minute")
	}
	needs(t, "mosquitto", "mosquitto_sub", "prometheus")
	o := Options{
		Sites: 50, Period: time.Second, Ramp: 2 * time.Second, Faults: 120, Seed: uint64(time.Now().UnixNano()), Log: slog.New(slog.DiscardHandler),
		WriteEvery: 10 * time.Second,
	}
	before, outage, after := 12*time.Second, 2*time.Second, 20*time.Second
	soon, quick := 10*time.Second, 5.0 // the ordinary form shares the machine with other tests
	if *load {
		o.Sites, o.Period, o.Ramp, o.Faults, o.WriteEvery = *many, 2*time.Second, 25*time.Second, 2, time.Minute
		outage, soon, quick = 10*time.Second, 2*time.Second, 1
		before = (*lasts - outage) / 2
		after = before
	}
	program := build(t)
	b := newBroker(t)
	var p *storage
	if *storing {
		p = newStorage(t)
		o.Write = p.url()
	}
	o.Broker, o.CAFile, o.CertFile, o.KeyFile = b.url(), b.file("ca.pem"), b.file("%s.pem"), b.file("%s.key")
	for i := range o.Sites {
		b.client(siteName(i))
	}
	e := listen(t, b)
	var mu sync.Mutex
	var all []Raised
	o.Raised = func(r Raised) {
		mu.Lock()
		defer mu.Unlock()
		all = append(all, r)
	}
	burnt := map[string]map[int64]bool{} // the stretches of ten seconds that have a frame
	f, err := New(o)
	if err != nil {
		t.Fatal(err)
	}
	for _, s := range f.sites {
		slots := map[int64]bool{}
		burnt[s.name] = slots
		s.after = func(at time.Duration) { slots[int64(at/(10*time.Second))] = true }
	}
	ctx, cancel := context.WithCancel(t.Context())
	done := make(chan struct{})
	b.client(wholeName)
	go func() {
		defer close(done)
		var all sync.WaitGroup
		all.Go(func() { f.Run(ctx) })
		all.Go(func() {
			if err := whole(ctx, &o); err != nil {
				t.Error(err)
			}
		})
		all.Wait()
	}()
	defer func() { cancel(); <-done }()
	until := func(what string, most time.Duration, ok func(Stats) bool) {
		t.Helper()
		for deadline := time.Now().Add(most); !ok(f.Stats()); time.Sleep(100 * time.Millisecond) {
			if time.Now().After(deadline) {
				t.Fatalf("it does not come to: %s: %+v", what, f.Stats())
			}
		}
	}
	connected := func(s Stats) bool { return s.Connected == o.Sites }
	until("all are connected", 3*time.Minute, connected)
	began := time.Now()
	worst := map[string]float64{} // evaluation of each group of rules
	watch := func(d time.Duration) {
		for end := time.Now().Add(d); time.Now().Before(end); time.Sleep(min(5*time.Second, time.Until(end))) {
			if p != nil {
				for group, took := range p.own("prometheus_rule_group_last_duration_seconds") {
					_, group, _ = strings.Cut(strings.TrimSuffix(group, `"}`), ";")
					worst[group] = max(worst[group], took)
				}
			}
		}
	}
	watch(before)
	agrees(t, f, b, program)
	trend(t, b, program)
	if p != nil {
		for rule, took := range p.slow() {
			t.Logf("rule %s took %v", rule, took)
		}
	}
	brokerCPU, brokerMemory := burden(t, b.Process.Pid)
	away := time.Now()
	if *load && !*kill {
		b.stop()
	} else {
		_ = b.Process.Signal(syscall.SIGUSR1) // save who subscribes
		time.Sleep(time.Second)
		away = time.Now()
		b.kill()
	}
	time.Sleep(outage)
	b.start()
	back := time.Now()
	watch(after)
	until("all are back", 6*time.Minute, connected) // whoever failed twice waits up to 160 s
	until("nothing waits", time.Minute, func(s Stats) bool { return s.Pending == 0 })
	ended := time.Now()
	if *load {
		time.Sleep(65 * time.Second) // the pack in which the end is
	}
	stats := f.Stats()
	t.Logf("broker until it ended: %v CPU, %d MB", brokerCPU, brokerMemory)
	cost(t, b, stats)
	if p != nil {
		p.cost(stats)
	}
	cancel() // and nobody writes any more
	<-done

	// Alarms.
	mu.Lock()
	defer mu.Unlock()
	// Whoever has nothing urgent comes back within 40 s, or 80 s if the broker was not there yet.
	settled := back.Add(80 * time.Second)
	var usual, late []time.Duration
	missing := 0
	for _, r := range all {
		if r.At.After(ended) {
			continue
		}
		k := told{r.Site, r.Alarm.String(), r.Occurrence}
		came, ok := e.first(k)
		switch {
		case !ok:
			missing++
			t.Errorf("%v of %v did not arrive", k, r.At)
		case r.At.Before(began), r.At.After(away.Add(-time.Second)) && r.At.Before(settled):
			if r.At.After(away.Add(-time.Second)) {
				late = append(late, came.Sub(latest(r.At, back)))
			}
		default:
			usual = append(usual, came.Sub(r.At))
		}
	}
	slices.Sort(usual)
	slices.Sort(late)
	t.Logf("%d sites, %v from the broker's end on; %d alarms raised, %d missing, %d events came again", o.Sites, ended.Sub(away).Round(time.Second), len(all), missing, e.repeats)
	t.Logf("from raising to arrival: %d alarms, median %v, p99 %v, longest %v", len(usual), part(usual, 0.5), part(usual, 0.99), part(usual, 1))
	t.Logf("raised while the broker was away or not all were back, from its return on: %d, median %v, p99 %v, longest %v", len(late), part(late, 0.5), part(late, 0.99), part(late, 1))
	if part(usual, 0.99) > soon {
		t.Errorf("p99 is %v", part(usual, 0.99))
	}
	if len(usual)+len(late) == 0 {
		t.Error("too little went wrong to tell")
	}

	// Telemetry: a sample of each ten seconds in which there was a frame.
	samples, lacking := 0, 0
	for _, one := range f.sites {
		got, last := e.slots(one.name, one.start)
		samples += len(got)
		if end := int64(ended.Sub(one.start) / (10 * time.Second)); last == 0 && ended.Sub(began) > 2*time.Minute || *load && last < end-2 {
			st := one.feed.Latest()
			t.Errorf("the telemetry of %s ends %d s before the end; it was at %v, clock trusted: %v, %+v %+v",
				one.name, 10*(end-last), st.Frame.At, st.ClockTrusted, one.publisher.Stats(), one.publisher.Stats().Outbox)
		}
		for slot := range last {
			if burnt[one.name][slot] && !got[slot] {
				lacking++
				t.Logf("%s lacks the sample of %v after the broker's end", one.name, one.start.Add(time.Duration(slot)*10*time.Second).Sub(away).Round(time.Second))
			}
		}
	}
	t.Logf("telemetry: %d samples, %d are lacking", samples, lacking)
	if lacking > 0 {
		t.Errorf("%d samples of telemetry are lacking", lacking)
	}

	// The door.
	perSecond := b.knocks(away.Add(time.Second))
	most, knocks := 0, 0
	for _, n := range perSecond {
		most, knocks = max(most, n), knocks+n
	}
	var seconds []int64
	for s := range maps.Keys(perSecond) {
		seconds = append(seconds, s-back.Unix())
	}
	slices.Sort(seconds)
	t.Logf("after its return the broker was connected to %d times, %d in the busiest second, the last after %d s", knocks, most, seconds[len(seconds)-1])
	if most > 50 || knocks < o.Sites {
		t.Errorf("%d connections, %d in one second", knocks, most)
	}
	if p != nil && len(worst) == 0 {
		t.Error("no rules were evaluated")
	}
	for _, group := range slices.Sorted(maps.Keys(worst)) {
		t.Logf("rules %s: %v at most", group, inSeconds(worst[group]))
		if forTheOverview[group] && worst[group] > quick {
			t.Errorf("the rules %s took more than %v s", group, quick)
		}
	}
}

// forTheOverview are the groups that record what the desk's overview shows. Those of alerts may
// take longer for once: sites that are new have judged nothing yet, which is told of each.
var forTheOverview = map[string]bool{
	"fleet-sites": true, "fleet-sites-kept": true, "fleet-memory": true, "fleet-alarms-kept": true,
	"fleet-drafts": true, "fleet-weeks": true,
}

func inSeconds(s float64) time.Duration {
	return time.Duration(s * float64(time.Second)).Round(time.Microsecond)
}

func latest(a, b time.Time) time.Time {
	if a.After(b) {
		return a
	}
	return b
}

// part is the quantile of what is sorted.
func part(all []time.Duration, q float64) time.Duration {
	if len(all) == 0 {
		return 0
	}
	return all[min(int(q*float64(len(all))), len(all)-1)].Round(time.Millisecond)
}

// cost says what the fleet and its broker have cost.
func cost(t *testing.T, b *broker, s Stats) {
	t.Helper()
	own, memory := burden(t, os.Getpid())
	t.Logf("fleet: %v CPU, %d MB; %d frames, %d left out; %d messages, %d dropped; %d alarms stand", own, memory, s.Frames, s.Missed, s.Published, s.Dropped, s.Standing)
	again, size := burden(t, b.Process.Pid)
	t.Logf("broker after that: %v CPU, %d MB, %d KB on disk", again, size, sizeOf(t, b.dir)>>10)
}

// cost says what the storage has cost.
func (p *storage) cost(s Stats) {
	p.t.Helper()
	series := p.own("prometheus_tsdb_head_series")[""]
	cpu, rss := burden(p.t, p.Process.Pid)
	p.t.Logf("prometheus: %v CPU, %d MB, %.0f series, %d KB on disk; %d samples in %d requests, %d failed", cpu, rss, series, sizeOf(p.t, p.dir)>>10, s.WriteSamples, s.WriteRequests, s.WriteFailures)
	sum, count := p.own("prometheus_rule_group_duration_seconds_sum")[""], p.own("prometheus_rule_group_duration_seconds_count")[""]
	p.t.Logf("rules: a group took %v on average", inSeconds(sum/count))
	one := siteName(0)
	own := p.ask(fmt.Sprintf(`count({site=%q,__name__!~"ALERTS.*|fluewright:.*"})`, one))[""]
	made := p.ask(fmt.Sprintf(`count({site=%q,__name__=~"ALERTS.*|fluewright:.*"})`, one))[""]
	p.t.Logf("%s has %g series, and the rules make %g of them", one, own, made)
	if s.WriteSamples == 0 || p.ask(`count(fluewright_build_info)`)[""] == 0 {
		p.t.Error("prometheus knows nothing")
	}
}

// build compiles the program that a technician has.
func build(t *testing.T) string {
	t.Helper()
	program := filepath.Join(t.TempDir(), "fluewright")
	if said, err := exec.Command("go", "build", "-o", program, "fluewright/daemon/fluewright").CombinedOutput(); err != nil {
		t.Fatalf("build: %v\n%s", err, said)
	}
	return program
}

// agrees holds what "fluewright sites" tells of the fleet against what the fleet knows of itself.
func agrees(t *testing.T, f *Fleet, b *broker, program string) {
	t.Helper()
	began := time.Now()
	var talk strings.Builder
	cmd := exec.Command(program, "sites", "--json", "--broker", fmt.Sprintf("tcp://127.0.0.1:%d", b.desk))
	cmd.Stderr = &talk
	out, err := cmd.Output()
	if err != nil {
		t.Errorf("sites: %v\n%s", err, talk.String())
		return
	}
	took := time.Since(began)
	var list struct {
		Complete bool
		Sites    []struct {
			Site, Level, Availability string
			Alarms                    []struct{ Alarm, Channel, State string }
		}
	}
	if err := json.Unmarshal(out, &list); err != nil {
		t.Fatal(err)
	}
	t.Logf("sites: %s in %v, %d KB", strings.TrimSpace(talk.String()), took.Round(time.Millisecond), len(out)>>10)
	if !list.Complete || len(list.Sites) != len(f.sites)+1 { // and the complete one
		t.Errorf("%d sites of %d, complete: %v", len(list.Sites), len(f.sites), list.Complete)
	}
	standing := map[string]bool{}
	level := map[string]string{}
	for _, s := range list.Sites {
		level[s.Site] = s.Level
		for _, a := range s.Alarms {
			key := a.Alarm
			if a.Channel != "" {
				key += "/" + a.Channel
			}
			standing[s.Site+" "+key] = true
		}
		if s.Availability != "online" {
			t.Errorf("%s is %q", s.Site, s.Availability)
		}
	}
	for _, s := range f.sites {
		st := s.feed.Latest()
		for _, a := range st.Assessment.Alarms {
			if a.State.Standing() && st.Frame.At-a.Since > 10*time.Second+took && !standing[s.name+" "+a.Key.String()] {
				t.Errorf("%s: %v stands and is not listed", s.name, a.Key)
			}
			if a.State.Standing() && st.Frame.At-a.Since > 10*time.Second+took && level[s.name] == "well" {
				t.Errorf("%s is said to be well, and %v stands", s.name, a.Key)
			}
		}
	}
}

// trend asks the complete monitor among them, as a technician does.
func trend(t *testing.T, b *broker, program string) {
	t.Helper()
	var talk strings.Builder
	cmd := exec.Command(program, "trend", "--broker", fmt.Sprintf("tcp://127.0.0.1:%d", b.desk), "--site", wholeName)
	cmd.Stderr, cmd.Env = &talk, append(os.Environ(), "XDG_CACHE_HOME="+t.TempDir())
	began := time.Now()
	out, err := cmd.Output()
	if lines := strings.Count(string(out), "\n"); err != nil || lines < 10 {
		t.Errorf("trend: %v, %d lines\n%s", err, lines, talk.String())
	}
	t.Logf("trend: %d bytes in %v", len(out), time.Since(began).Round(time.Millisecond))
}
