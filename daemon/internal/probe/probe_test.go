package probe_test

import (
	"encoding/json"
	"flag"
	"fmt"
	"maps"
	"net"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"testing/synctest"

	"github.com/google/go-cmp/cmp"
	"periph.io/x/conn/v3/i2c"
	"periph.io/x/conn/v3/spi"

	"fluewright/daemon/internal/app"
	"fluewright/daemon/internal/config"
	"fluewright/daemon/internal/probe"
	"fluewright/sensors"
	"fluewright/sensors/bench"
	"fluewright/sensors/bus"
	"fluewright/sensors/survey"
	"fluewright/sensors/traffic"
)

var update = flag.Bool("update", false, "rewrite the golden files")

func golden(t *testing.T, name, got string) {
	t.Helper()
	path := filepath.Join("testdata", name+".golden")
	if *update {
		if err := os.WriteFile(path, []byte(got), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(string(want), got); diff != "" {
		t.Errorf("%s (-want +got):\n%s", path, diff)
	}
}

// at returns a survey of the bench, which is all the computer there is.
func at(t *testing.T, every bool, lines ...string) survey.Options {
	t.Helper()
	b, err := bench.New(bench.Config{Seed: 1, Every: every})
	if err != nil {
		t.Fatal(err)
	}
	for _, l := range append([]string{
		"pin flue 300", "pin chamber 600", "pin plenum 60", "pin draft 12", "pin room 20", "pin ambient 96600",
		"pin firebox 640", "pin outdoor -12", "pin return 19",
	}, lines...) {
		if _, err := b.Do(l); err != nil {
			t.Fatal(err)
		}
	}
	buses, selects := b.Devices()
	return survey.Options{
		Open: bus.Opener{
			I2C: func(name string) (i2c.BusCloser, error) { return buses[strings.TrimPrefix(name, "/dev/")].Open() },
			SPI: func(name string) (spi.PortCloser, error) { return selects[strings.TrimPrefix(name, "/dev/")].Open() },
		},
		Adapters: func() []bus.Adapter {
			var all []bus.Adapter
			for _, name := range slices.Sorted(maps.Keys(buses)) {
				all = append(all, bus.Adapter{Device: "/dev/" + name, Name: "bench"})
			}
			for _, name := range slices.Sorted(maps.Keys(selects)) {
				all = append(all, bus.Adapter{Device: "/dev/" + name, SPI: true})
			}
			return all
		},
	}
}

func parse(t *testing.T, text string) *config.Config {
	t.Helper()
	cfg, err := config.Parse("test.toml", []byte(text))
	if err != nil {
		t.Fatal(err)
	}
	return cfg
}

const house = `
[site]
units = "si"
[[sensor]]
channels = ["flue"]
chip = "max31856"
bus = "/dev/spidev0.0"
thermocouple = "K"
[[sensor]]
channels = ["draft"]
chip = "sdp810-125pa"
bus = "/dev/i2c-1"
[[sensor]]
channels = ["ambient", "room"]
chip = "bme280"
bus = "/dev/i2c-1"
`

const every = house + `
[[sensor]]
channels = ["firebox"]
chip = "max31855"
bus = "/dev/spidev1.1"
thermocouple = "K"
[[sensor]]
channels = ["outdoor"]
chip = "mcp9601"
bus = "/dev/i2c-2"
mux = "0x70/0"
thermocouple = "K"
[[sensor]]
channels = ["return"]
chip = "mcp9808"
bus = "/dev/i2c-2"
`

func TestReports(t *testing.T) {
	for _, tc := range []struct {
		name   string
		every  bool
		lines  []string
		config string
		wrong  bool
	}{
		{"all-is-well", true, nil, "", false},
		{"as-configured", true, nil, every, false},
		{"us-units", false, nil, strings.Replace(house, `"si"`, `"us"`, 1), false},
		{"faults", true, []string{
			"fault flue open", "fault draft nack", "fault ambient stuck-ff", "fault max31855 short-ground",
			"fault mcp9601 cold-junction-hot", "fault mcp9808 wrong-part",
		}, every, true},
		{"frozen", false, []string{"fault draft frozen"}, house, true},
		{"multiplexer-silent", true, []string{"fault pca9548 nack"}, every, true},
		{"bus-down", false, []string{"fault i2c-1 timeout"}, house, true},
		{"nobody-answers", false, []string{
			"fault i2c-1 nack", "fault flue stuck-ff", "fault chamber stuck-00", "fault plenum stuck-ff",
		}, "", true},
	} {
		t.Run(tc.name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				o := probe.Options{Survey: at(t, tc.every, tc.lines...), Driver: app.Driver}
				if tc.config != "" {
					o.Config = parse(t, tc.config)
				}
				var out strings.Builder
				r, err := probe.Run(t.Context(), o, &out)
				if err != nil {
					t.Fatal(err)
				}
				if r.Wrong() != tc.wrong {
					t.Errorf("wrong is %v, want %v", r.Wrong(), tc.wrong)
				}
				golden(t, tc.name, out.String())
			})
		})
	}
}

// A board on which little is enabled: what is missing is said, and whose fault it is.
func TestWhatIsMissing(t *testing.T) {
	missing := func(device, advice string) *sensors.Fault {
		return &sensors.Fault{Code: sensors.DeviceMissing, Device: device, Detail: "open", Advice: advice}
	}
	o := survey.Options{
		Open: bus.Opener{
			I2C: func(name string) (i2c.BusCloser, error) {
				return nil, &sensors.Fault{Code: sensors.NotPermitted, Device: name, Advice: "Add the user to the group i2c."}
			},
			SPI: func(string) (spi.PortCloser, error) { panic("there is none to open") },
		},
		Adapters: func() []bus.Adapter {
			return []bus.Adapter{
				{Device: "/dev/i2c-1", Name: "bcm2835 (i2c@7e804000)"},
				{Device: "/dev/spidev0.0", SPI: true, Fault: missing("/dev/spidev0.0", "Enable the bus: dtparam=spi=on.")},
			}
		},
	}
	for name, cfg := range map[string]*config.Config{"missing": nil, "missing-configured": parse(t, house)} {
		var out strings.Builder
		r, err := probe.Run(t.Context(), probe.Options{Survey: o, Config: cfg, Driver: app.Driver}, &out)
		if err != nil {
			t.Fatal(err)
		}
		if !r.Wrong() {
			t.Errorf("%s: nothing is wrong", name)
		}
		golden(t, name, out.String())
	}
}

// occupied is a computer whose buses a daemon has. Opening one is all that may happen.
func occupied() survey.Options {
	refuse := func(name string) error {
		return &sensors.Fault{Code: sensors.BusInUse, Device: name, Detail: "process 812, fluewright"}
	}
	return survey.Options{
		Open: bus.Opener{
			I2C: func(name string) (i2c.BusCloser, error) { return nil, refuse(name) },
			SPI: func(name string) (spi.PortCloser, error) { return nil, refuse(name) },
		},
		Adapters: func() []bus.Adapter {
			return []bus.Adapter{{Device: "/dev/i2c-1"}, {Device: "/dev/spidev0.0", SPI: true}}
		},
	}
}

func TestBusesOfARunningDaemon(t *testing.T) {
	// The exposition is the daemon's own, from its tests: the flue's chip is down and the
	// draft's up, and nothing is known of the barometer.
	exposition, err := os.ReadFile("../metrics/testdata/burning.prom")
	if err != nil {
		t.Fatal(err)
	}
	daemon := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if r.URL.Path != "/metrics" {
			http.NotFound(w, r)
			return
		}
		_, _ = w.Write(exposition)
	}))
	defer daemon.Close()
	_, port, err := net.SplitHostPort(daemon.Listener.Addr().String())
	if err != nil {
		t.Fatal(err)
	}
	run := func(t *testing.T, cfg *config.Config) (probe.Report, string) {
		t.Helper()
		var out strings.Builder
		r, err := probe.Run(t.Context(), probe.Options{Survey: occupied(), Config: cfg, Driver: app.Driver}, &out)
		if err != nil {
			t.Fatal(err)
		}
		return r, strings.ReplaceAll(out.String(), port, "PORT")
	}
	t.Run("without its configuration", func(t *testing.T) {
		r, text := run(t, nil)
		if r.Wrong() {
			t.Error("a bus in use is wrong")
		}
		golden(t, "in-use", text)
	})
	t.Run("with it", func(t *testing.T) {
		r, text := run(t, parse(t, fmt.Sprintf("[web]\nlisten = \"0.0.0.0:%s\"\n%s", port, house)))
		if r.Daemon != "http://127.0.0.1:"+port+"/" {
			t.Errorf("asked %s", r.Daemon)
		}
		golden(t, "in-use-configured", text)
	})
	t.Run("it does not answer", func(t *testing.T) {
		daemon.Close()
		r, _ := run(t, parse(t, fmt.Sprintf("[web]\nlisten = \"127.0.0.1:%s\"\n%s", port, house)))
		if !r.Wrong() || len(r.Chips) != 3 || r.Chips[0].Verdict != "not-read" {
			t.Errorf("%+v", r)
		}
	})
	t.Run("somebody else answers", func(t *testing.T) {
		other := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) {
			_, _ = w.Write([]byte("# TYPE go_goroutines gauge\ngo_goroutines 7\n"))
		}))
		defer other.Close()
		r, _ := run(t, parse(t, fmt.Sprintf("[web]\nlisten = %q\n%s", other.Listener.Addr(), house)))
		if !r.Wrong() || !strings.Contains(r.Findings[0].Hint, "no fluewright") {
			t.Errorf("%+v", r.Findings)
		}
	})
}

func TestJSONSaysTheSame(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var out strings.Builder
		r, err := probe.Run(t.Context(), probe.Options{Survey: at(t, false, "fault flue open"), JSON: true}, &out)
		if err != nil {
			t.Fatal(err)
		}
		var read probe.Report
		d := json.NewDecoder(strings.NewReader(out.String()))
		d.DisallowUnknownFields()
		if err := d.Decode(&read); err != nil {
			t.Fatal(err)
		}
		again, err := json.Marshal(read)
		if err != nil {
			t.Fatal(err)
		}
		if string(again)+"\n" != out.String() || !read.Wrong() || !r.Wrong() || len(read.Chips) != 5 {
			t.Errorf("read back %s\nprinted   %s", again, out.String())
		}
	})
}

// What was recorded at one installation can be probed again anywhere.
func TestRecordIsAProbeAgain(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		path := filepath.Join(t.TempDir(), "probe.traffic")
		var live, again strings.Builder
		cfg := parse(t, every)
		o := probe.Options{Survey: at(t, true, "fault flue open", "fault mcp9808 nack"), Config: cfg, Driver: app.Driver, Record: path}
		if _, err := probe.Run(t.Context(), o, &live); err != nil {
			t.Fatal(err)
		}
		file, err := os.Open(path)
		if err != nil {
			t.Fatal(err)
		}
		defer file.Close()
		p, err := traffic.Read(file)
		if err != nil {
			t.Fatal(err)
		}
		adapters := o.Survey.Adapters
		o.Survey, o.Record = survey.Options{Open: p.Opener(), Adapters: adapters}, ""
		if _, err := probe.Run(t.Context(), o, &again); err != nil {
			t.Fatal(err)
		}
		if diff := cmp.Diff(live.String(), again.String()); diff != "" {
			t.Errorf("(-live +record):\n%s", diff)
		}
		if rest := p.Rest(); len(rest) > 0 {
			t.Errorf("%d transfers were not asked for, first %s", len(rest), rest[0])
		}
	})
}

func TestRecordThatCannotBeMade(t *testing.T) {
	_, err := probe.Run(t.Context(), probe.Options{Survey: occupied(), Record: t.TempDir()}, &strings.Builder{})
	if err == nil || !strings.Contains(err.Error(), "create record") {
		t.Errorf("%v", err)
	}
}
