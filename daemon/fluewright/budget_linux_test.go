package main_test

import (
	"bufio"
	"context"
	"debug/elf"
	"fmt"
	"math"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"sync/atomic"
	"syscall"
	"testing"
	"time"

	"fluewright/daemon/internal/notify/notifytest"
	"fluewright/daemon/internal/porttest"
)

// What one run may cost with everything on.
const (
	mostResident  = 30 << 20 // bytes
	mostProcessor = 0.01     // of a core, while nobody asks for anything
	mostStart     = time.Second
)

// everyChannel feeds all nine channels from eight chips on four buses, which give sixteen
// quantities between them. SPI and I2C stand for what the names of buses begin with.
const everyChannel = `
[[sensor]]
channels = ["flue"]
chip = "max31856"
bus = "SPI0.0"
thermocouple = "K"
[[sensor]]
channels = ["chamber"]
chip = "max31856"
bus = "SPI0.1"
thermocouple = "K"
[[sensor]]
channels = ["plenum"]
chip = "max31856"
bus = "SPI1.0"
thermocouple = "K"
[[sensor]]
channels = ["firebox"]
chip = "max31855"
bus = "SPI1.1"
thermocouple = "K"
[[sensor]]
channels = ["outdoor"]
chip = "mcp9601"
bus = "I2C2"
mux = "0x70/0"
thermocouple = "K"
[[sensor]]
channels = ["return"]
chip = "mcp9808"
bus = "I2C2"
[[sensor]]
channels = ["draft"]
chip = "sdp810-125pa"
bus = "I2C1"
[[sensor]]
channels = ["ambient", "room"]
chip = "bme280"
bus = "I2C1"
`

// full is a monitor with everything on, and those whom it tells.
type full struct {
	t         *testing.T
	dir, page string
	file      string // the configuration
	push      *notifytest.Push
	took      atomic.Int64 // requests of remote write
	beats     atomic.Int64 // of the heart
}

// newFull writes the configuration. broker is where one is; empty: the one within the
// program.
func newFull(t *testing.T, sensors, broker string) *full {
	f := &full{t: t, dir: t.TempDir(), page: porttest.Free(t).String(), push: notifytest.Start(t)}
	f.file = filepath.Join(f.dir, "fluewright.toml")
	receiver := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		switch r.URL.Path {
		case "/write":
			f.took.Add(1)
			w.WriteHeader(http.StatusNoContent)
		case "/beat":
			f.beats.Add(1)
		default: // the alertmanager takes everything
			w.WriteHeader(http.StatusOK)
		}
	}))
	t.Cleanup(func() { receiver.CloseClientConnections(); receiver.Close() })
	topic := filepath.Join(f.dir, "topic")
	writeFile(t, topic, "owner")
	writeFile(t, topic+"-answers", "answers")
	mqtt := `embedded = "127.0.0.1:0"`
	if broker != "" {
		mqtt = fmt.Sprintf("broker = %q", "tcp://"+broker)
	}
	writeFile(t, f.file, fmt.Sprintf(`
[site]
name = "cellar"
[sampling]
period = "0.1 s"
stale-after = "2 s"
[limits]
firebox = "1600 degF"
[mqtt]
%s
homie = "yes"
[web]
listen = %q
read-without-sign-in = "this-computer"
[[remote-write]]
name = "desk"
url = %q
send-every = "15 s"
[[notify.transport]]
name = "phone"
kind = "push"
server = %q
topic-file = %q
acknowledge-topic-file = %q
[[notify.transport]]
name = "hook"
kind = "webhook"
url = %q
[[notify.person]]
name = "owner"
via = ["phone", "hook"]
[notify.alertmanager]
url = %q
[notify.heartbeat]
url = %q
every = "30 s"
`, mqtt, f.page, receiver.URL+"/write", f.push.URL, topic, topic+"-answers", receiver.URL+"/hook", receiver.URL, receiver.URL+"/beat")+sensors)
	return f
}

// run starts the program.
func (f *full) run(program ...string) *process {
	f.t.Helper()
	state := filepath.Join(f.dir, "state")
	if err := os.MkdirAll(state, 0o700); err != nil {
		f.t.Fatal(err)
	}
	line := append(program, "run", "--config", f.file, "--state", state)
	return start(f.t, line[0], line[1:]...)
}

// attend has a page open, and reads the metrics as often as is usual.
func (f *full) attend(ctx context.Context) *atomic.Int64 {
	beats := &atomic.Int64{}
	go follow(ctx, f.page, beats)
	go func() {
		for {
			select {
			case <-ctx.Done():
				return
			case <-time.After(15 * time.Second):
				if resp, err := http.Get("http://" + f.page + "/metrics"); err == nil {
					_ = resp.Body.Close()
				}
			}
		}
	}()
	return beats
}

// footprint is what a process holds, bytes.
type footprint struct{ resident, anonymous int64 }

func (m footprint) String() string {
	const mib = 1 << 20
	return fmt.Sprintf("%.1f MiB resident, %.1f of them its own and the others of its file", float64(m.resident)/mib, float64(m.anonymous)/mib)
}

// footprintOf adds up what a process has mapped from begin up to end.
func footprintOf(t *testing.T, pid int, begin, end uint64) (m footprint) {
	t.Helper()
	file, err := os.Open(fmt.Sprintf("/proc/%d/smaps", pid))
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	within := false
	for lines := bufio.NewScanner(file); lines.Scan(); {
		f := strings.Fields(lines.Text())
		if from, _, isRange := strings.Cut(f[0], "-"); isRange {
			at, err := strconv.ParseUint(from, 16, 64)
			if err != nil {
				t.Fatal(err)
			}
			within = begin <= at && at < end
			continue
		}
		if into := map[string]*int64{"Rss:": &m.resident, "Anonymous:": &m.anonymous}[f[0]]; into != nil && within {
			n, err := strconv.ParseInt(f[1], 10, 64)
			if err != nil {
				t.Fatal(err)
			}
			*into += n << 10
		}
	}
	return m
}

// guestOf is where an emulator for processors of 32 bits has laid out its guest's memory,
// found by where the guest's file is: what lies elsewhere is the emulator's own.
func guestOf(t *testing.T, pid int, program string) (begin, end uint64) {
	t.Helper()
	file, err := elf.Open(program)
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	linked := uint64(math.MaxUint64)
	for _, p := range file.Progs {
		if p.Type == elf.PT_LOAD {
			linked = min(linked, p.Vaddr)
		}
	}
	maps, err := os.ReadFile(fmt.Sprintf("/proc/%d/maps", pid))
	if err != nil {
		t.Fatal(err)
	}
	for line := range strings.Lines(string(maps)) {
		if from, _, ok := strings.Cut(line, "-"); ok && strings.HasSuffix(strings.TrimSpace(line), program) {
			at, err := strconv.ParseUint(from, 16, 64)
			if err != nil {
				t.Fatal(err)
			}
			return at - linked, at - linked + 1<<32
		}
	}
	t.Fatalf("%s is not mapped", program)
	return 0, 0
}

// quiet says that nobody else works on this computer, so that times mean something. It is
// also for how long the processor's time is measured.
func quiet() (time.Duration, bool) {
	d, err := time.ParseDuration(os.Getenv("FLUEWRIGHT_QUIET"))
	return d, err == nil
}

// The built program with everything on, at ten frames a second: how much memory it holds
// once it has settled, and what it takes of the processor while nobody asks for anything.
func TestBudget(t *testing.T) {
	if testing.Short() {
		t.Skip("runs the built binary, which is none of this test's build")
	}
	needRealParts(t, "mosquitto", "unshare")
	t.Parallel()
	onBench := strings.NewReplacer("SPI", "bench-spi-", "I2C", "bench-i2c-").Replace(everyChannel)
	rehearsal := "GOFLAGS=-tags=rehearsal"
	// Side by side, unless times are to mean something.
	together := func(t *testing.T) {
		if _, strict := quiet(); !strict {
			t.Parallel()
		}
	}
	t.Run("on virtual devices", func(t *testing.T) {
		together(t)
		startBench(t, t.TempDir(), "--every", "--dev-offset", "80")
		devices := strings.NewReplacer("SPI", "/dev/spidev8", "I2C1", "/dev/i2c-81", "I2C2", "/dev/i2c-82").Replace(everyChannel)
		f := newFull(t, devices, "")
		f.measure(f.run(synchronised(t, build(t, "."))...), "", 0)
	})
	t.Run("with a broker elsewhere", func(t *testing.T) {
		together(t)
		f := newFull(t, onBench, startMosquitto(t, t.TempDir()))
		f.measure(f.run(synchronised(t, build(t, ".", rehearsal))...), "", mostProcessor)
	})
	t.Run("for armv6, emulated", func(t *testing.T) {
		together(t)
		needRealParts(t, "qemu-arm-static")
		program := build(t, ".", "GOOS=linux", "GOARCH=arm", "GOARM=6", rehearsal)
		f := newFull(t, onBench, "")
		f.measure(f.run(synchronised(t, "qemu-arm-static", program)...), program, 0)
	})
}

// synchronised puts before a command line what makes the clock pass for synchronised, for it
// alone: remote write sends nothing before it is.
func synchronised(t *testing.T, line ...string) []string {
	if os.Geteuid() != 0 {
		missing(t, "root, for a clock that passes for synchronised")
	}
	const script = `mount -t tmpfs none /run && mkdir -p /run/systemd/timesync && touch /run/systemd/timesync/synchronized && exec "$@"`
	return append([]string{"unshare", "--mount", "sh", "-c", script, "sh"}, line...)
}

// measure lets the program settle and measures. emulated is the file of a program that an
// emulator runs. processor is what it may take of a core; zero: what it takes is only told.
func (f *full) measure(p *process, emulated string, processor float64) {
	f.t.Helper()
	awaitPage(f.t, f.page)
	pid := p.cmd.Process.Pid
	begin, end := uint64(0), uint64(math.MaxUint64)
	if emulated != "" {
		begin, end = guestOf(f.t, pid, emulated)
	}
	goroutines := gauge(f.t, f.page, "go_goroutines")
	<-time.After(settled)

	idle, strict := quiet()
	if !strict {
		idle = 10 * time.Second
	}
	cpu, frames := cpuTime(f.t, pid), gauge(f.t, f.page, "fluewright_frames_total")
	<-time.After(idle)
	share := (cpuTime(f.t, pid) - cpu).Seconds() / idle.Seconds()
	rate := (gauge(f.t, f.page, "fluewright_frames_total") - frames) / idle.Seconds()
	f.t.Logf("%.2f %% of a core while nobody asks, at %.1f frames a second", 100*share, rate)
	if !strict {
		processor *= 5 // who shares a processor's memory and its other thread takes more of its time
	}
	if processor > 0 && share > processor {
		f.t.Errorf("it takes %.2f %% of a core, want %.0f %% at most", 100*share, 100*processor)
	}
	if rate < 5 { // a busy computer may miss some
		f.t.Errorf("%.1f frames a second, want 10", rate)
	}

	ctx, cancel := context.WithCancel(f.t.Context())
	defer cancel()
	beats := f.attend(ctx)
	var most footprint
	for range 20 {
		<-time.After(time.Second)
		if now := footprintOf(f.t, pid, begin, end); now.resident > most.resident {
			most = now
		}
	}
	f.t.Logf("with a page open, %v", most)
	if most.resident > mostResident {
		f.t.Errorf("%v, want %d MiB at most", most, mostResident>>20)
	}
	if now := gauge(f.t, f.page, "go_goroutines"); now > goroutines+15 {
		f.t.Errorf("%v goroutines, %v at the beginning", now, goroutines)
	}
	if beats.Load() == 0 || f.took.Load() == 0 || f.beats.Load() == 0 {
		f.t.Errorf("the page heard %d times, remote write took %d, the heart beat %d times: not everything is on", beats.Load(), f.took.Load(), f.beats.Load())
	}
	p.signal(syscall.SIGTERM)
	if err := p.wait(10 * time.Second); err != nil {
		f.t.Errorf("%v\n%s", err, p.said())
	}
}

// settled is when the program has let go of what only its start needed.
const settled = 25 * time.Second

// From the program's start to the first frame that is judged, with everything on. Of some
// starts the quickest counts, as a busy computer delays any; on a quiet one the median.
func TestStartIsPrompt(t *testing.T) {
	if testing.Short() {
		t.Skip("runs the built binary, and measures")
	}
	needRealParts(t)
	f := newFull(t, strings.NewReplacer("SPI", "bench-spi-", "I2C", "bench-i2c-").Replace(everyChannel), "")
	program := build(t, ".", "GOFLAGS=-tags=rehearsal")
	var all []time.Duration
	for range 9 {
		began := time.Now()
		p := f.run(program)
		f.awaitFrame(20 * time.Second)
		all = append(all, time.Since(began))
		p.signal(syscall.SIGTERM)
		if err := p.wait(10 * time.Second); err != nil {
			t.Fatalf("%v\n%s", err, p.said())
		}
	}
	slices.Sort(all)
	t.Logf("first frame after %v, median %v, most %v", all[0], all[len(all)/2], all[len(all)-1])
	got := all[0]
	if _, strict := quiet(); strict {
		got = all[len(all)/2]
	}
	if got > mostStart {
		t.Errorf("the first frame is judged after %v, want %v at most", got, mostStart)
	}
}

// awaitFrame waits until the page says that a frame was judged.
func (f *full) awaitFrame(limit time.Duration) {
	f.t.Helper()
	for until := time.Now().Add(limit); ; time.Sleep(5 * time.Millisecond) {
		if resp, err := http.Get("http://" + f.page + "/healthz"); err == nil {
			_ = resp.Body.Close()
			if resp.StatusCode == http.StatusOK {
				return
			}
		}
		if time.Now().After(until) {
			f.t.Fatal("no frame is judged")
		}
	}
}
