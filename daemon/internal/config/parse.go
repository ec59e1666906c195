package config

import (
	"fmt"
	"os"
	"regexp"
	"slices"
	"time"

	"fluewright/analysis"
	"fluewright/analysis/alarm"
	"fluewright/analysis/frame"
	"fluewright/configs"
	"fluewright/daemon/internal/units"
)

// Load reads the configuration file at path.
func Load(path string) (*Config, error) {
	data, err := os.ReadFile(path)
	if err != nil {
		return nil, fmt.Errorf("read configuration: %w", err)
	}
	return Parse(path, data)
}

// Parse reads a configuration; name stands in messages. The error is an [Errors] with
// every mistake, unless the text is not TOML: then it stops where it is not.
func Parse(name string, data []byte) (*Config, error) {
	p := &problems{file: name}
	root := scan(data, p)
	if root == nil {
		return nil, p.err()
	}
	if len(root.keys) == 0 {
		// Most likely a write that was cut short. Defaults would watch somebody else's
		// furnace.
		p.at(0, "says nothing; begin with the reference configuration")
	}
	c := bind(newTable(p, "", root))
	if err := p.err(); err != nil {
		return nil, err
	}
	return c, nil
}

// Default returns what holds where a configuration says nothing.
func Default() *Config {
	p := &problems{file: "default"}
	c := bind(newTable(p, "", &node{}))
	if err := p.err(); err != nil {
		panic(err) // the defaults are part of the program
	}
	return c
}

// Demo returns the configuration of the demonstration, whose chips are on a bench within
// the program.
func Demo() (*Config, error) { return Parse("demo.toml", configs.Demo) }

// bind reads every section and then judges what concerns more than one.
func bind(root *table) *Config {
	c := &Config{}
	c.Site = site(root.table("site"))
	c.Sampling = sampling(root.table("sampling"))
	before := len(root.list)
	c.Sensors = sensors(root)
	sound := len(root.list) == before
	for _, s := range c.Sensors {
		for _, ch := range s.Channels {
			c.Analysis.Fitted[ch] = true
		}
	}
	appliance(root.table("appliance"), &c.Analysis)
	c.Analysis.Chimney = chimneyOf(root.table("chimney"))
	c.Analysis.Regulator = regulator(root.table("regulator"))
	c.Analysis.Altitude = c.Site.Altitude
	limits(root.table("limits"), &c.Analysis, c.Sensors, sound)
	draftAverage(root.table("analysis"), &c.Analysis, c.Sampling.Period)
	c.Analysis.Timing = alarms(root.table("alarms"))
	own := embedded(root.table("broker"))
	c.Broker = own.Broker
	c.MQTT = mqtt(root.table("mqtt"), c.Site.Name, own)
	c.Web = web(root.table("web"), c.MQTT)
	c.History = history(root.table("history"))
	c.RemoteWrite = remoteWrite(root, c.History)
	c.Notify = notify(root.table("notify"), c.Site.Units)
	root.done()
	return c
}

// siteName keeps a name usable as a level of an MQTT topic and in a client's name.
var siteName = regexp.MustCompile(`^[a-z0-9-]{4,32}$`)

var region = regexp.MustCompile(`^[a-z0-9-]{1,32}$`)

// regionName keeps a region usable as a label that many sites share.
func regionName(s string) error {
	if !region.MatchString(s) {
		return fmt.Errorf("%q is no name of a region; it is 1 to 32 of a-z, 0-9 and -", s)
	}
	return nil
}

// site reads what the furnace is called and where it stands. The altitudes are those at
// which people live.
func site(t *table) Site {
	s := Site{
		Name: t.text("name", "furnace", func(s string) error {
			if !siteName.MatchString(s) {
				return fmt.Errorf("%q is no name of a site; it is 4 to 32 of a-z, 0-9 and -", s)
			}
			return nil
		}).value,
		Region:   t.text("region", "", regionName).value,
		TimeZone: t.text("time-zone", "", timeZone).value,
		Altitude: quantity(t, "altitude", units.ParseLength, span{"0 ft", "-1500 ft", "16000 ft"}).value,
	}
	t.text("units", units.US.String(), func(text string) error { return s.Units.UnmarshalText([]byte(text)) })
	t.done()
	return s
}

// sampling reads how often to look. A tenth of a second is what a thermocouple amplifier
// needs for a conversion; over five seconds a draft could turn unseen.
func sampling(t *table) Sampling {
	const fastest = 100 * time.Millisecond
	period := quantity(t, "period", units.ParseDuration, span{"0.5 s", "0.1 s", "5 s"})
	stale := quantity(t, "stale-after", units.ParseDuration, span{"5 s", "0.2 s", "60 s"})
	if period.ok() && stale.ok() && stale.value < 2*period.value {
		t.at(max(period.line, stale.line), "sampling.stale-after is %s; a reading may be missed once, so it is at least two periods, %s",
			seconds(stale.value), seconds(2*period.value))
	}
	burst := t.integer("burst", 1, []int{1, 3, 5}, "%d")
	if each := period.value / time.Duration(burst.value); period.ok() && burst.ok() && each < fastest {
		t.at(burst.line, "sampling.burst is %d and the period %s, a look each %s; a chip needs %s for a conversion, take a longer period or fewer looks",
			burst.value, seconds(period.value), seconds(each.Round(time.Millisecond)), seconds(fastest))
	}
	t.done()
	return Sampling{Period: period.value, StaleAfter: stale.value, Burst: burst.value}
}

// appliance reads the draft band. The range is wider than any appliance asks (common
// practice, no source); it is there to catch a decimal point that slipped.
func appliance(t *table, s *analysis.Settings) {
	const low, high = "0.01 inH2O", "0.25 inH2O"
	from := quantity(t, "draft-low", units.ParsePressure, span{"0.04 inH2O", low, high})
	to := quantity(t, "draft-high", units.ParsePressure, span{"0.06 inH2O", low, high})
	if from.ok() && to.ok() && from.value >= to.value {
		t.at(max(from.line, to.line), "appliance.draft-low is %s and draft-high %s; low is below high",
			units.US.Pressure(from.value), units.US.Pressure(to.value))
	}
	s.DraftLow, s.DraftHigh = from.value, to.value
	t.done()
}

// limitSpans lists the channels that may have a limit. The flue's highest is what UL 103
// lets a chimney bear for a limited time, 1700 °F: a limit above it guards nothing. The
// lowest of all is where water boils, which every fire passes.
var limitSpans = []struct {
	channel frame.Channel
	span    span
}{
	{frame.Firebox, span{"", "212 degF", "2500 degF"}},
	{frame.Chamber, span{"1300 degF", "212 degF", "2500 degF"}},
	{frame.Flue, span{"1000 degF", "212 degF", "1700 degF"}},
}

// limits reads the limits of the channels that are fitted. sound says that the sensors
// are without a mistake, so that one that seems to be missing really is.
func limits(t *table, s *analysis.Settings, fitted []Sensor, sound bool) {
	for _, l := range limitSpans {
		limit := quantity(t, l.channel.String(), units.ParseTemperature, l.span)
		i := slices.IndexFunc(fitted, func(s Sensor) bool { return slices.Contains(s.Channels, l.channel) })
		switch {
		case i < 0 && limit.line > 0 && sound:
			t.at(limit.line, "%s: no sensor feeds %v, so nothing would watch the limit; fit one or leave the limit out",
				t.name(l.channel.String()), l.channel)
		case i >= 0:
			s.Limits[l.channel] = limit.value
			// An amplifier stops at the end of its thermocouple's range and flags that,
			// so a limit beyond would never be passed.
			sensor := fitted[i]
			if top := hottest(sensor.Thermocouple); top > 0 && limit.ok() && limit.value >= top {
				t.at(max(limit.line, sensor.Line), "the limit of %v is %s and its type %s thermocouple measures up to %s; it would never be seen to be passed, take another type or a lower limit",
					l.channel, both(limit.value), sensor.Thermocouple, both(top))
			}
		}
	}
	s.PlenumLimit = quantity(t, frame.Plenum.String(), units.ParseTemperature, span{"200 degF", "120 degF", "400 degF"}).value
	t.done()
}

// draftAverage reads how long the draft is averaged. Over ten minutes a draft that is
// wrong would be noticed too late to help the fire that suffers from it.
func draftAverage(t *table, s *analysis.Settings, period time.Duration) {
	over := quantity(t, "draft-average", units.ParseDuration, span{"30 s", "1 s", "10 min"})
	if over.ok() && over.value < period {
		t.at(over.line, "analysis.draft-average is %s and the period %s; it is at least one period", seconds(over.value), seconds(period))
	}
	s.DraftAverage = over.value
	t.done()
}

// alarms reads the timing of each alarm that is judged.
func alarms(t *table) map[alarm.Name]alarm.Timing {
	timing := make(map[alarm.Name]alarm.Timing)
	for _, d := range analysis.Alarms() {
		one := t.table(string(d.Name))
		timing[d.Name] = alarm.Timing{
			// An alarm that waits longer than half of the time that there is to respond
			// leaves too little of it.
			Hold: quantity(one, "hold", units.ParseDuration,
				span{seconds(d.Timing.Hold), "0 s", seconds(min(d.Respond/2, time.Hour))}).value,
			ClearAfter: quantity(one, "clear-after", units.ParseDuration,
				span{seconds(d.Timing.ClearAfter), "0 s", "1 h"}).value,
		}
		one.done()
	}
	t.done()
	return timing
}

// seconds writes a time as the file does.
func seconds(d time.Duration) string { return fmt.Sprintf("%g s", d.Seconds()) }
