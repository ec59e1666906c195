package config_test

import (
	"bytes"
	"errors"
	"flag"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"fluewright/analysis"
	"fluewright/analysis/alarm"
	"fluewright/analysis/chimney"
	"fluewright/analysis/frame"
	"fluewright/configs"
	"fluewright/daemon/internal/config"
	"fluewright/daemon/internal/units"
	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
)

var update = flag.Bool("update", false, "write golden files")

// Each file under testdata/bad breaks one rule; beside it stands what is said of it.
func TestMistakesAreSaid(t *testing.T) {
	files, err := filepath.Glob("testdata/bad/*.toml")
	if err != nil || len(files) == 0 {
		t.Fatal("no bad files", err)
	}
	for _, file := range files {
		name := strings.TrimSuffix(filepath.Base(file), ".toml")
		t.Run(name, func(t *testing.T) {
			data, err := os.ReadFile(file)
			if err != nil {
				t.Fatal(err)
			}
			c, err := config.Parse(filepath.Base(file), data)
			if err == nil {
				t.Fatal("accepted")
			}
			if c != nil {
				t.Error("there is a configuration beside the error")
			}
			var all config.Errors
			if !errors.As(err, &all) {
				t.Errorf("the error is a %T", err)
			}
			golden := strings.TrimSuffix(file, ".toml") + ".golden"
			got := err.Error() + "\n"
			if *update {
				if err := os.WriteFile(golden, []byte(got), 0o644); err != nil {
					t.Fatal(err)
				}
			}
			want, err := os.ReadFile(golden)
			if err != nil {
				t.Fatal(err)
			}
			if diff := cmp.Diff(string(want), got); diff != "" {
				t.Errorf("messages (-want +got):\n%s", diff)
			}
			if strings.Contains(got, "hunter2") {
				t.Error("a message repeats a password")
			}
		})
	}
}

// The built-in defaults, written out a second time.
func TestDefault(t *testing.T) {
	const inH2O = 249.08891
	want := &config.Config{
		Site:     config.Site{Name: "furnace", Units: units.US},
		Sampling: config.Sampling{Period: 500 * time.Millisecond, StaleAfter: 5 * time.Second, Burst: 1},
		Analysis: analysis.Settings{
			Fitted: [frame.Count]bool{
				frame.Flue: true, frame.Chamber: true, frame.Draft: true, frame.Ambient: true, frame.Room: true,
			},
			// 1000 °F, the continuous limit of UL 103 chimneys, and 1300 °F.
			Limits:       [frame.Count]float64{frame.Flue: 537.7778, frame.Chamber: 704.4444},
			DraftLow:     0.04 * inH2O,
			DraftHigh:    0.06 * inH2O,
			DraftAverage: 30 * time.Second,
			Timing: map[alarm.Name]alarm.Timing{
				alarm.Overheat:   {Hold: time.Second, ClearAfter: time.Minute},
				alarm.Spillage:   {Hold: 30 * time.Second, ClearAfter: time.Minute},
				alarm.DraftHigh:  {Hold: 3 * time.Minute, ClearAfter: 10 * time.Minute},
				alarm.DraftLow:   {Hold: 5 * time.Minute, ClearAfter: 10 * time.Minute},
				alarm.SensorLost: {Hold: 10 * time.Second, ClearAfter: 10 * time.Second},

				alarm.SensorImplausible: {Hold: 2 * time.Minute, ClearAfter: 2 * time.Minute},

				alarm.ChimneyFire:     {Hold: 2 * time.Second, ClearAfter: 5 * time.Minute},
				alarm.Runaway:         {Hold: 10 * time.Second, ClearAfter: 2 * time.Minute},
				alarm.PlenumOverheat:  {Hold: 10 * time.Second, ClearAfter: 2 * time.Minute},
				alarm.BlowerStopped:   {Hold: 30 * time.Second, ClearAfter: 2 * time.Minute},
				alarm.FlueRestricted:  {Hold: time.Minute, ClearAfter: time.Hour},
				alarm.MonitorImpaired: {Hold: time.Minute, ClearAfter: time.Minute},
				alarm.RegulatorStuck:  {Hold: 5 * time.Minute, ClearAfter: 10 * time.Minute},
			},
			PlenumLimit: (200 - 32) / 1.8,
		},
		Sensors: []config.Sensor{
			{
				Name: "flue", Chip: "max31856", Bus: "/dev/spidev0.0", Channels: []frame.Channel{frame.Flue},
				Thermocouple: "K", MainsHz: 60, Averaging: 1,
			},
			{
				Name: "chamber", Chip: "max31856", Bus: "/dev/spidev0.1", Channels: []frame.Channel{frame.Chamber},
				Thermocouple: "K", MainsHz: 60, Averaging: 1,
			},
			{Name: "draft", Chip: "sdp810-125pa", Bus: "/dev/i2c-1", Address: 0x25, Channels: []frame.Channel{frame.Draft}},
			{
				Name: "ambient", Chip: "bme280", Bus: "/dev/i2c-1", Address: 0x76,
				Channels: []frame.Channel{frame.Ambient, frame.Room},
			},
		},
		MQTT: config.MQTT{ClientID: "fluewright-furnace", Root: "fluewright", BackFill: 7 * 24 * time.Hour, Embedded: "127.0.0.1:1883"},
		Web:  config.Web{Listen: "127.0.0.1:8080", ReadWithoutSignIn: "this-computer", Names: []string{}},
		History: config.History{
			Period: time.Second, FullRate: 200 * 24 * time.Hour, Minutes: 3650 * 24 * time.Hour, Ceiling: 1_000_000_000,
		},
		Notify: config.Notify{
			Second: 5 * time.Minute, Repeat: 10 * time.Minute, Heartbeat: config.Heartbeat{Every: 5 * time.Minute},
		},
	}
	if diff := cmp.Diff(want, config.Default(), cmpopts.EquateApprox(0, 1e-4)); diff != "" {
		t.Errorf("defaults (-want +got):\n%s", diff)
	}
	check(t, config.Default())
}

// The reference configuration documents the defaults; this keeps it true.
func TestReferenceEqualsDefault(t *testing.T) {
	got, err := config.Parse("fluewright.toml", configs.Reference)
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(config.Default(), got, cmpopts.IgnoreFields(config.Sensor{}, "Line")); diff != "" {
		t.Errorf("reference (-default +reference):\n%s", diff)
	}
}

func TestDemo(t *testing.T) {
	c, err := config.Demo()
	if err != nil {
		t.Fatal(err)
	}
	check(t, c)
	want := map[string]string{
		"flue": "bench-spi-0.0", "chamber": "bench-spi-0.1", "plenum": "bench-spi-1.0",
		"draft": "bench-i2c-1", "ambient": "bench-i2c-1",
	}
	got := map[string]string{}
	for _, s := range c.Sensors {
		got[s.Name] = s.Bus
	}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Errorf("buses (-want +got):\n%s", diff)
	}
}

func TestParseReadsEveryKey(t *testing.T) {
	text := `
site = { name = "attic-2", units = "si", altitude = "1500 m", region = "north-1", time-zone = "Europe/Vienna" }
sampling.period = "500 ms"
sampling.stale-after = "1 s"
sampling.burst = 3
[appliance]
draft-low = "10 Pa"
draft-high = "15 Pa"
[limits]
firebox = "900 degC"
flue = "400 °C"
[analysis]
draft-average = "1 min"
[alarms]
spillage.hold = "25 s"
draft-low = { clear-after = "5 min" }
[[sensor]]
channels = [
	"firebox", # hot
]
chip = "max31856"
bus = "/dev/spi-by-path/cabinet"
thermocouple = "S"
mains = "50 Hz"
averaging = 0b1000
sheath = "40 s"
[[sensor]]
channels = ["flue"]
chip = "max31856"
bus = "/dev/spidev0.0"
thermocouple = "N"
sheath = "3 mm"
[[sensor]]
channels = ["outdoor", "ambient"]
chip = "bmp280"
bus = "/dev/i2c-3"
address = 0x77
[mqtt]
broker = "ssl://[2001:db8::1]:8883"
client-id = "attic"
user = "furnace"
password-file = "/run/credentials/fluewright.service/mqtt"
ca-file = "/etc/fluewright/ca.pem"
certificate-file = "/etc/fluewright/attic.pem"
key-file = "/etc/fluewright/attic-key.pem"
root = "service/stoves"
profile = "metered"
back-fill = "30 days"
[web]
listen = ":80"
[chimney]
height = "8 m"
diameter = "180 mm"
construction = "masonry"
place = "outside"
connector-length = "2 m"
connector-rise = "1 m"
connector-diameter = "150 mm"
[regulator]
set-draft = "12 Pa"
diameter = "150 mm"
`
	got, err := config.Parse("attic.toml", []byte(strings.ReplaceAll(text, "\n", "\r\n")))
	if err != nil {
		t.Fatal(err)
	}
	want := config.Default()
	want.Analysis.Altitude = 1500
	want.Analysis.Regulator = analysis.Regulator{Set: 12, Diameter: 0.15}
	brick, pipe := chimney.Masonry(0.18, 0.115), chimney.SingleWall(0.15)
	brick.Length, brick.Rise, brick.Fittings, brick.Exposed = 8, 8, 1.2, 0.9
	pipe.Length, pipe.Rise, pipe.Fittings = 2, 1, 0.6
	want.Analysis.Chimney = chimney.System{Connector: pipe, Chimney: brick}
	want.Site = config.Site{Name: "attic-2", Units: units.SI, Region: "north-1", TimeZone: "Europe/Vienna", Altitude: 1500}
	want.Sampling = config.Sampling{Period: 500 * time.Millisecond, StaleAfter: time.Second, Burst: 3}
	want.Analysis.Fitted = [frame.Count]bool{frame.Firebox: true, frame.Flue: true, frame.Outdoor: true, frame.Ambient: true}
	want.Analysis.Limits = [frame.Count]float64{frame.Firebox: 900, frame.Flue: 400}
	want.Analysis.DraftLow, want.Analysis.DraftHigh = 10, 15
	want.Analysis.DraftAverage = time.Minute
	want.Analysis.Timing[alarm.Spillage] = alarm.Timing{Hold: 25 * time.Second, ClearAfter: time.Minute}
	want.Analysis.Timing[alarm.DraftLow] = alarm.Timing{Hold: 5 * time.Minute, ClearAfter: 5 * time.Minute}
	want.Sensors = []config.Sensor{
		{
			Name: "firebox", Chip: "max31856", Bus: "/dev/spi-by-path/cabinet", Channels: []frame.Channel{frame.Firebox},
			Thermocouple: "S", MainsHz: 50, Averaging: 8, Lag: 40 * time.Second, Line: 17,
		},
		{
			Name: "flue", Chip: "max31856", Bus: "/dev/spidev0.0", Channels: []frame.Channel{frame.Flue},
			Thermocouple: "N", MainsHz: 60, Averaging: 1, Lag: 35 * time.Second, Line: 27,
		},
		{
			Name: "outdoor", Chip: "bmp280", Bus: "/dev/i2c-3", Address: 0x77,
			Channels: []frame.Channel{frame.Outdoor, frame.Ambient}, Line: 33,
		},
	}
	want.MQTT = config.MQTT{
		Broker: "ssl://[2001:db8::1]:8883", ClientID: "attic", User: "furnace",
		PasswordFile: "/run/credentials/fluewright.service/mqtt", CAFile: "/etc/fluewright/ca.pem",
		CertificateFile: "/etc/fluewright/attic.pem", KeyFile: "/etc/fluewright/attic-key.pem",
		Root: "service/stoves", Metered: true, BackFill: 30 * 24 * time.Hour,
	}
	want.Web.Listen = ":80"
	if diff := cmp.Diff(want, got); diff != "" {
		t.Errorf("configuration (-want +got):\n%s", diff)
	}
	check(t, got)
}

func TestByteOrderMarkIsNoMistake(t *testing.T) {
	if _, err := config.Parse("site.toml", []byte("\xef\xbb\xbf[site]\nname = \"attic\"\n")); err != nil {
		t.Error(err)
	}
}

func TestLoad(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, "fluewright.toml")
	if _, err := config.Load(path); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("a missing file: %v", err)
	}
	if err := os.WriteFile(path, bytes.Replace(configs.Reference, []byte(`"furnace"`), []byte(`"attic"`), 1), 0o600); err != nil {
		t.Fatal(err)
	}
	c, err := config.Load(path)
	if err != nil {
		t.Fatal(err)
	}
	if c.Site.Name != "attic" || c.MQTT.ClientID != "fluewright-attic" {
		t.Errorf("got %q, client %q", c.Site.Name, c.MQTT.ClientID)
	}
	if err := os.WriteFile(path, []byte("[site]\nname = 5\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	if _, err = config.Load(path); err == nil || !strings.HasPrefix(err.Error(), path+":2: ") {
		t.Errorf("no path and line: %v", err)
	}
}

func TestChimneyByItsHeightAlone(t *testing.T) {
	c, err := config.Parse("height.toml", []byte("[chimney]\nheight = \"25 ft\"\nconnector-length = \"0 ft\"\nconnector-rise = \"0 ft\"\n[regulator]\nfitted = \"no\"\n"))
	if err != nil {
		t.Fatal(err)
	}
	check(t, c)
	s := c.Analysis.Chimney
	if s.Connector != (chimney.Section{}) || s.Height() != 7.62 || s.Chimney.Diameter != 0.1524 {
		t.Errorf("got %+v", s)
	}
	if !c.Analysis.Regulator.Unfitted {
		t.Error("a regulator is there")
	}
}
