package config_test

import (
	"errors"
	"fmt"
	"net"
	"net/netip"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"
	"unicode"

	"fluewright/analysis"
	"fluewright/analysis/frame"
	"fluewright/configs"
	"fluewright/daemon/internal/config"
	"github.com/pelletier/go-toml/v2"
)

// check holds an accepted configuration against what its users rely on. It is written
// from the type's promises, not from the parser.
func check(t *testing.T, c *config.Config) {
	t.Helper()
	must := func(ok bool, what string, got any) {
		t.Helper()
		if !ok {
			t.Errorf("%s: %+v", what, got)
		}
	}
	must(regexp.MustCompile(`^[a-z0-9-]{4,32}$`).MatchString(c.Site.Name), "site name", c.Site.Name)
	must(c.Site.Altitude > -1000 && c.Site.Altitude < 9000, "altitude", c.Site.Altitude)
	must(c.Sampling.Period >= 100*time.Millisecond && c.Sampling.Period <= 5*time.Second, "period", c.Sampling)
	must(c.Sampling.StaleAfter >= 2*c.Sampling.Period && c.Sampling.StaleAfter <= time.Minute, "stale after", c.Sampling)

	must(c.Sampling.Burst >= 1 && c.Sampling.Period/time.Duration(c.Sampling.Burst) >= 100*time.Millisecond, "burst", c.Sampling)

	a := c.Analysis
	must(a.DraftLow > 2 && a.DraftLow < a.DraftHigh && a.DraftHigh < 63, "draft band", a)
	must(a.DraftAverage >= c.Sampling.Period, "draft average", a.DraftAverage)
	for name, timing := range a.Timing {
		must(timing.Hold >= 0 && timing.Hold <= time.Hour && timing.ClearAfter >= 0 && timing.ClearAfter <= time.Hour, string(name), timing)
	}
	if _, err := analysis.New(a); err != nil {
		t.Errorf("the analysis refuses its settings: %v", err)
	}

	for _, r := range c.RemoteWrite {
		must(r.Name != "" && strings.HasPrefix(r.URL, "http") && !c.History.Off, "receiver", r)
		must(r.Interval >= time.Second && time.Minute%r.Interval == 0 && r.Every >= time.Second && r.Every < 5*time.Minute, "times of a receiver", r)
		must(r.BackFill >= 24*time.Hour && (r.User == "") == (r.PasswordFile == ""), "receiver", r)
	}

	must(len(c.Sensors) > 0, "sensors", c.Sensors)
	var fed [frame.Count]bool
	places := map[string]bool{}
	for _, s := range c.Sensors {
		must(len(s.Channels) > 0 && s.Name == s.Channels[0].String(), "name", s)
		for _, ch := range s.Channels {
			must(!fed[ch], "fed twice", s)
			fed[ch] = true
		}
		place := fmt.Sprint(s.Bus, s.Mux, s.Address)
		must(!places[place], "two chips at one place", s)
		places[place] = true
		must(strings.HasPrefix(s.Bus, "/dev/") || strings.HasPrefix(s.Bus, "bench-"), "bus", s)
		must(s.Mux == config.Mux{} || s.Mux.Address >= 0x70 && s.Mux.Address <= 0x77 && s.Mux.Channel >= 0 && s.Mux.Channel < 8, "mux", s)
		must((s.Address == 0) == strings.HasPrefix(s.Chip, "max318") && s.Address < 0x78, "address", s)
		must((len(s.Thermocouple) == 1) == (strings.HasPrefix(s.Chip, "max318") || strings.HasPrefix(s.Chip, "mcp960")), "thermocouple", s)
		if s.Chip == "max31856" {
			must((s.MainsHz == 50 || s.MainsHz == 60) && s.Averaging >= 1 && s.Averaging <= 16, "amplifier", s)
		}
		switch x := s.Transmitter; {
		case s.Chip != "ads1115":
			must(x == config.Transmitter{}, "transmitter", s)
		case x.Current:
			must(x.Low < x.High && x.Input >= 0 && x.Input < 4 && x.Shunt >= 50 && x.Shunt <= 150, "current", s)
		default:
			must(x.Low < x.High && x.Input >= 0 && x.Input < 4 && x.SupplyInput != x.Input && (x.Divider == 1 || x.Divider == 2), "volts", s)
		}
	}
	must(fed == a.Fitted, "fitted", a.Fitted)
	must(!fed[frame.Draft] || fed[frame.Flue], "draft without flue", a.Fitted)
	for ch, limit := range a.Limits {
		must(limit == 0 || fed[ch] && limit >= 100 && limit < 1400, "limit", a.Limits)
	}

	if c.MQTT.Broker == "" {
		host, _, err := net.SplitHostPort(c.MQTT.Embedded)
		ip, _ := netip.ParseAddr(host)
		must(err == nil && (host == "localhost" || ip.IsLoopback() || len(c.Broker.Users) > 0), "embedded broker", c.MQTT)
	} else {
		must(c.MQTT.Embedded == "", "two brokers", c.MQTT)
		must(len(c.Broker.Users) == 0 && c.Broker.KeyFile == "", "two brokers", c.Broker)
		must(!strings.Contains(c.MQTT.Broker, "@"), "broker", c.MQTT)
	}
	must((c.Broker.CertificateFile == "") == (c.Broker.KeyFile == ""), "certificate without key", c.Broker)
	users := map[string]bool{}
	for _, u := range c.Broker.Users {
		must(u.Name != "" && u.PasswordFile != "" && !users[u.Name] && len(u.Read) > 0, "user", u)
		users[u.Name] = true
		for _, f := range u.Write {
			must(strings.HasPrefix(f, "command/"), "user writes", u)
		}
		for _, f := range u.Read {
			must(!strings.HasPrefix(f, "command") && !strings.HasPrefix(f, "$"), "user reads", u)
		}
	}
	must(c.MQTT.ClientID != "", "client", c.MQTT)
	must(c.MQTT.PasswordFile == "" || c.MQTT.User != "", "password without user", c.MQTT)
	_, _, err := net.SplitHostPort(c.Web.Listen)
	must(err == nil, "web", c.Web)
	must(slices.Contains([]string{"nobody", "this-computer", "network"}, c.Web.ReadWithoutSignIn), "reading", c.Web)
	must((c.Web.CertificateFile == "") == (c.Web.KeyFile == ""), "certificate without key", c.Web)
}

// FuzzParse: whatever the file says, there is a configuration that everything can rely
// on, or mistakes with lines that exist; and the scan that keeps the lines agrees with
// the decoder on what is TOML.
func FuzzParse(f *testing.F) {
	f.Add(configs.Reference)
	f.Add(configs.Demo)
	files, err := filepath.Glob("testdata/bad/*.toml")
	if err != nil {
		f.Fatal(err)
	}
	for _, file := range files {
		data, err := os.ReadFile(file)
		if err != nil {
			f.Fatal(err)
		}
		f.Add(data)
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		c, err := config.Parse("fuzz.toml", data)
		var decoded map[string]any
		toTOML := toml.Unmarshal([]byte(strings.TrimPrefix(string(data), "\xef\xbb\xbf")), &decoded)
		if err == nil {
			check(t, c)
			if toTOML != nil {
				t.Errorf("accepted, and is no TOML: %v", toTOML)
			}
			return
		}
		var all config.Errors
		if !errors.As(err, &all) || len(all) == 0 {
			t.Fatalf("the error is a %T: %v", err, err)
		}
		lines := strings.Count(string(data), "\n") + 1
		for i, one := range all {
			if one.Line < 0 || one.Line > lines || one.Text == "" {
				t.Errorf("impossible mistake %+v in %d lines", one, lines)
			}
			if strings.ContainsFunc(one.Text, unicode.IsControl) {
				t.Errorf("control characters in %q", one.Text)
			}
			if i > 0 && one.Line < all[i-1].Line {
				t.Errorf("line %d after line %d", one.Line, all[i-1].Line)
			}
			if toTOML == nil && strings.Contains(one.Text, "is given twice; keep one") {
				t.Errorf("%v, and the decoder has nothing to say", one)
			}
		}
	})
}
