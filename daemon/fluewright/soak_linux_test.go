package main_test

import (
	"encoding/csv"
	"fmt"
	"maps"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"syscall"
	"testing"
	"time"

	"fluewright/daemon/internal/porttest"
)

// recovery is how long a reading may stay away once nothing is wrong any more: the
// longest back-off (10 s), a transfer that still hangs (1 s), the chip's start and two
// conversions, and as much again for a busy computer.
const recovery = 15 * time.Second

// soaked is a channel: what it is pinned to; by how much a value may be off, the chip's
// digit and five times its noise; and what must be whole for it, the chip and all that
// shares its wires.
type soaked struct {
	truth, tolerance float64
	needs            []string
}

// fitting is a set of chips that feed one configuration.
type fitting struct {
	// offset is added to the numbers of its device files, so that fittings stand beside each
	// other.
	offset   int
	sensors  string
	channels map[string]soaked
	// breaking leaves out the faults that keep a plausible value, which are the signal
	// path's to notice and have their own tests.
	breaking map[string][]string
}

// The faults of two amplifiers on SPI and of a bus with a barometer, which every fitting
// has.
var (
	flueFaults    = []string{"timeout", "stuck-00", "stuck-ff", "brown-out", "open", "over-voltage", "out-of-range", "wrong-part"}
	fireboxFaults = []string{"timeout", "stuck-00", "stuck-ff", "brown-out", "open", "short-ground", "short-supply", "out-of-range"}
	airFaults     = []string{"nack", "timeout", "stuck-00", "stuck-ff", "brown-out"}
	busFaults     = []string{"nack", "timeout"}
)

// The wires of the second bus.
var (
	branch = []string{"mcp9601", "sdp810", "mcp9808", "pca9548", "i2c-2"}
	analog = []string{"transmitter", "i2c-2"}
)

// Between them the fittings have one of each chip; draft is fed by one at a time.
var fittings = map[string]fitting{
	"behind a multiplexer": {
		offset: 60,
		channels: map[string]soaked{
			"flue_celsius":    {300, 0.3, []string{"flue"}},
			"firebox_celsius": {290, 0.45, []string{"max31855"}},
			"outdoor_celsius": {12, 0.4, branch},
			"return_celsius":  {24, 0.1, branch},
			"room_celsius":    {21, 0.1, []string{"ambient", "i2c-1"}},
			"draft_pascals":   {12, 0.5, branch},
			"ambient_pascals": {98000, 30, []string{"ambient", "i2c-1"}},
		},
		breaking: map[string][]string{
			"flue":     flueFaults,
			"max31855": fireboxFaults,
			"ambient":  airFaults,
			"mcp9601":  {"nack", "timeout", "stuck-00", "stuck-ff", "brown-out", "open", "short-ground", "out-of-range", "wrong-part", "stretch"},
			"sdp810":   {"nack", "timeout", "crc", "stuck-00", "stuck-ff", "brown-out", "wrong-part"},
			"mcp9808":  {"nack", "timeout", "stuck-00", "stuck-ff", "brown-out", "wrong-part"},
			"pca9548":  {"nack", "timeout", "brown-out"},
			"i2c-1":    busFaults,
			"i2c-2":    busFaults,
		},
		sensors: `[[sensor]]
channels = ["outdoor"]
chip = "mcp9601"
bus = "/dev/i2c-62"
mux = "0x70/0"
thermocouple = "K"
[[sensor]]
channels = ["draft"]
chip = "sdp810-125pa"
bus = "/dev/i2c-62"
mux = "0x70/3"
[[sensor]]
channels = ["return"]
chip = "mcp9808"
bus = "/dev/i2c-62"
`,
	},
	"a transmitter": {
		offset: 70,
		channels: map[string]soaked{
			"flue_celsius":    {300, 0.3, []string{"flue"}},
			"firebox_celsius": {290, 0.45, []string{"max31855"}},
			"room_celsius":    {21, 0.1, []string{"ambient", "i2c-1"}},
			"draft_pascals":   {12, 0.5, analog},
			"ambient_pascals": {98000, 30, []string{"ambient", "i2c-1"}},
		},
		breaking: map[string][]string{
			"flue":        flueFaults,
			"max31855":    fireboxFaults,
			"ambient":     airFaults,
			"transmitter": {"nack", "timeout", "stuck-00", "stuck-ff", "brown-out", "open", "short-supply", "out-of-range", "supply-low"},
			"i2c-1":       busFaults,
			"i2c-2":       busFaults,
		},
		sensors: `
[[sensor]]
channels = ["draft"]
chip = "ads1115"
bus = "/dev/i2c-72"
signal = "0.5-4.5 V"
range-low = "-100 Pa"
range-high = "100 Pa"
`,
	},
}

const soakConfig = `
[site]
name = "soak"
[sampling]
period = "0.1 s"
stale-after = "2 s"
[mqtt]
embedded = "127.0.0.1:0"
[web]
listen = "%s"
[[sensor]]
channels = ["flue"]
chip = "max31856"
bus = "/dev/spidev%d.0"
thermocouple = "K"
[[sensor]]
channels = ["firebox"]
chip = "max31855"
bus = "/dev/spidev%d.1"
thermocouple = "K"
[[sensor]]
channels = ["ambient", "room"]
chip = "bme280"
bus = "/dev/i2c-%d"
`

// A minute of faults that come and go by chance, under the built program at ten looks a
// second: no wrong number is used, none stays away for longer than its recovery, and
// nothing grows.
func TestSoakOfTheBinary(t *testing.T) {
	if testing.Short() {
		t.Skip("runs the built binary, which is none of this test's build")
	}
	needRealParts(t)
	t.Parallel()
	for name, f := range fittings {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			soak(t, f)
		})
	}
}

func soak(t *testing.T, f fitting) {
	lasts := 15 * time.Second
	if os.Getenv("FLUEWRIGHT_REAL") == "1" {
		lasts = time.Minute
	}
	dir := t.TempDir()
	bench := startBench(t, dir, "--every", "--dev-offset", strconv.Itoa(f.offset))
	for column, c := range f.channels {
		bench.do(fmt.Sprintf("pin %s %g", regexp.MustCompile("_.*").ReplaceAllString(column, ""), c.truth))
	}
	config, record, page := filepath.Join(dir, "soak.toml"), filepath.Join(dir, "soak.csv"), porttest.Free(t).String()
	writeFile(t, config, fmt.Sprintf(soakConfig, page, f.offset, f.offset+1, f.offset+1)+f.sensors)
	daemon := start(t, build(t, "."), "run", "--config", config, "--state", filepath.Join(dir, "none"), "--record", record)
	awaitPage(t, page)
	<-time.After(5 * time.Second) // until every chip has been started
	goroutines := gauge(t, page, "go_goroutines")

	faults := breakAtRandom(bench, f.breaking, lasts)
	<-time.After(recovery)
	if now := gauge(t, page, "go_goroutines"); now > goroutines+5 {
		t.Errorf("%v goroutines after the faults, %v before", now, goroutines)
	}
	daemon.signal(syscall.SIGINT)
	if err := daemon.wait(ending); err != nil {
		t.Fatalf("%v\n%s", err, daemon.said())
	}
	judge(t, record, f.channels, faults)
}

// fault is when something was broken.
type fault struct {
	what       string
	begin, end time.Time
}

// breakAtRandom sets and clears faults, seeded, and returns them; in the end all is whole.
func breakAtRandom(b *bench, breaking map[string][]string, lasts time.Duration) (all []fault) {
	rng := rand.New(rand.NewPCG(1, 60))
	names := slices.Sorted(maps.Keys(breaking))
	open := map[string]time.Time{}
	mend := func(name string) {
		b.do("clear " + name)
		if begin, ok := open[name]; ok {
			all = append(all, fault{name, begin, time.Now()})
			delete(open, name)
		}
	}
	for until := time.Now().Add(lasts); time.Now().Before(until); <-time.After(100 * time.Millisecond) {
		switch name := names[rng.IntN(len(names))]; {
		case rng.IntN(12) == 0:
			if _, ok := open[name]; !ok {
				open[name] = time.Now()
			}
			b.do("fault " + name + " " + breaking[name][rng.IntN(len(breaking[name]))])
		case rng.IntN(4) == 0:
			mend(name)
		}
	}
	for _, name := range names {
		mend(name)
	}
	return all
}

// judge holds what the program used against the truth.
func judge(t *testing.T, record string, channels map[string]soaked, faults []fault) {
	t.Helper()
	file, err := os.Open(record)
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	rows, err := csv.NewReader(file).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	head, used, missed := rows[0], 0, 0
	began := time.Time{}
	for _, row := range rows[1:] {
		at, err := time.Parse(time.RFC3339, row[0])
		if err != nil {
			t.Fatal(err)
		}
		if began.IsZero() {
			began = at
		}
		for i, field := range row[1:] {
			c := channels[head[i+1]]
			if field == "" {
				missed++
				if whole := lastBroken(faults, c.needs, began, at); at.Sub(whole) > recovery {
					t.Fatalf("%s: %s is still missing, whole since %v", row[0], head[i+1], whole)
				}
				continue
			}
			used++
			v, err := strconv.ParseFloat(field, 64)
			if err != nil || math.Abs(v-c.truth) > c.tolerance {
				t.Fatalf("%s: %s is %s, true %v", row[0], head[i+1], field, c.truth)
			}
		}
	}
	t.Logf("%d faults; %d values used, all true; %d withheld", len(faults), used, missed)
	if len(head)-1 != len(channels) || len(faults) < 5 || missed == 0 || used < missed {
		t.Errorf("columns %v, %d faults, %d values, %d missing: nothing was proved", head, len(faults), used, missed)
	}
}

// lastBroken is when something that is needed was last broken, as known at a time.
func lastBroken(faults []fault, needs []string, began, at time.Time) time.Time {
	last := began
	for _, f := range faults {
		if slices.Contains(needs, f.what) && !f.begin.After(at) {
			if f.end.After(at) {
				return at
			}
			if f.end.After(last) {
				last = f.end
			}
		}
	}
	return last
}

// gauge reads a number of the exposition.
func gauge(t *testing.T, page, name string) float64 {
	t.Helper()
	m := regexp.MustCompile(`(?m)^` + name + ` (\S+)$`).FindStringSubmatch(get(t, "http://"+page+"/metrics"))
	if m == nil {
		t.Fatalf("no %s", name)
	}
	v, err := strconv.ParseFloat(m[1], 64)
	if err != nil {
		t.Fatal(err)
	}
	return v
}
