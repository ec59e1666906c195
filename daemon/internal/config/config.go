// Package config reads the site's configuration: TOML, strict, every quantity with its
// unit, every mistake reported at once with its line and what would be right.
package config

import (
	"time"

	"fluewright/analysis"
	"fluewright/analysis/frame"
	"fluewright/daemon/internal/units"
)

// Config is a whole, valid configuration.
type Config struct {
	Site     Site
	Sampling Sampling
	// Analysis holds draft band, limits, timing and which channels are fitted.
	Analysis analysis.Settings
	Sensors  []Sensor
	// RemoteWrite are the receivers of what the history holds.
	RemoteWrite []RemoteWrite

	MQTT    MQTT
	Broker  Broker
	Web     Web
	History History
	Notify  Notify
}

// Site names the furnace.
type Site struct {
	// Name is 4 to 32 of a-z, 0-9 and '-': it is part of every topic.
	Name  string
	Units units.System
	// Region is what many sites have in common, as "north-1": weather, a line to the world, a
	// technician. Empty: none.
	Region string
	// TimeZone is the name of where the furnace stands, as "America/Chicago"; empty: the
	// machine's own.
	TimeZone string
	// Altitude above sea level, m: stands in for a missing ambient-pressure sensor.
	Altitude float64
}

// Sampling says how often the chips are read and when a reading is too old.
type Sampling struct {
	Period     time.Duration // 0.1 s to 5 s
	StaleAfter time.Duration // at least two periods
	// Burst is how many looks there are in a period, of which the median counts.
	Burst int
}

// Sensor is one chip on one bus.
type Sensor struct {
	Name string // its first channel's name
	Chip string // "max31856", "sdp810-125pa", "bme280", …
	// Bus is the device file, "/dev/spidev0.0" or "/dev/i2c-1", or the name of a bus
	// registered in the process.
	Bus      string
	Address  uint16 // on I2C
	Mux      Mux    // on I2C, where one is in between
	Channels []frame.Channel
	// For thermocouple amplifiers.
	Thermocouple string // type letter
	// Lag is the time constant of the probe's sheath, which is undone; zero: not known.
	Lag time.Duration
	// For the MAX31856.
	MainsHz   int // 50 or 60
	Averaging int // 1, 2, 4, 8 or 16 conversions
	// For the ADS1115.
	Transmitter Transmitter
	// Line is where the configuration says so.
	Line int
}

// Mux is a channel of an I2C multiplexer; the zero Mux is none.
type Mux struct {
	Address uint16
	Channel int
}

// Transmitter is an analog pressure transmitter behind a converter. The zero Transmitter
// is none.
type Transmitter struct {
	Current     bool    // 4 to 20 mA over Shunt, instead of 0.5 to 4.5 V of a supply of 5 V
	Low, High   float64 // its range, Pa
	Input       int     // 0 to 3
	SupplyInput int     // where the supply of 5 V is measured
	Divider     int     // by how much the two voltages are divided before the converter
	Shunt       float64 // Ω
}

// MQTT says where to publish.
type MQTT struct {
	// Broker is "tcp://host:1883" or "ssl://host:8883". Empty: the embedded broker
	// alone.
	Broker   string
	ClientID string // default "fluewright-<site>"
	User     string
	// PasswordFile holds the password; secrets never stand in the configuration.
	PasswordFile string
	CAFile       string
	// CertificateFile and KeyFile show the broker who we are.
	CertificateFile, KeyFile string
	// Root is what topics begin with.
	Root string
	// Metered is for lines where each byte costs.
	Metered bool
	// BackFill is how old what comes late may be.
	BackFill time.Duration
	// Homie shows the site as a device of the Homie convention too.
	Homie bool
	// Embedded is the address on which the broker in this process listens, loopback only
	// where it has no users; empty when Broker is set.
	Embedded string
}

// Web says where pages and metrics are served, and to whom.
type Web struct {
	Listen string
	// ReadWithoutSignIn is "nobody", "this-computer" or "network".
	ReadWithoutSignIn string
	// CertificateFile and KeyFile encrypt the pages; both or neither is given.
	CertificateFile, KeyFile string
	// Names are further names of this computer under which the pages are asked for.
	Names []string
}

// History says what is kept of the past.
type History struct {
	// Off is set where nothing is kept.
	Off bool
	// Directory is where the file lies; empty: the state directory.
	Directory string
	// Period is what one row of it stands for; a whole number of them makes a minute.
	Period time.Duration
	// FullRate is how long every row is kept, Minutes how long their sums are.
	FullRate, Minutes time.Duration
	// Ceiling is the size above which the oldest goes before its time, bytes.
	Ceiling int64
}
