// Package metrics exposes what the program knows to Prometheus.
//
// A scrape reads the newest tick and touches no sensor. A number without a usable
// reading has no sample, and channel_quality says why; alarms are always there, so that
// no rule can fall silent because a series vanished. Samples carry no time of their own:
// how old a reading is stands in channel_last_reading_timestamp_seconds.
package metrics

import (
	"net/http"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/collectors"
	"github.com/prometheus/client_golang/prometheus/promhttp"
	dto "github.com/prometheus/client_model/go"

	"fluewright/analysis/alarm"
	"fluewright/analysis/frame"
	"fluewright/daemon/internal/commission"
	"fluewright/daemon/internal/history"
	"fluewright/daemon/internal/mqtt"
	"fluewright/daemon/internal/mqtt/broker"
	"fluewright/daemon/internal/notify"
	"fluewright/daemon/internal/remotewrite"
	"fluewright/daemon/internal/status"
)

// Options is what the metrics are made from.
type Options struct {
	Site    string
	Region  string // what many sites have in common; empty: none
	Version string
	// Configuration is the text that the configuration was read from.
	Configuration string
	Feed          *status.Feed
	// Fitted says which channels have a sensor; the others have no series.
	Fitted [frame.Count]bool
	// Alarms holds every alarm that the site can have, as it is before the first tick.
	Alarms []alarm.Status
	// StaleAfter is how long the newest tick counts as the present one.
	StaleAfter time.Duration
	// RemoteWrite returns how the receivers of remote write do; nil where there is none.
	RemoteWrite func() []remotewrite.Stats
	// MQTT returns the publisher's counters.
	MQTT func() mqtt.Stats
	// Broker returns how the broker within the program does; nil where it is elsewhere.
	Broker func() broker.Stats
	// Commands returns how many commands came, by what became of them; nil where none are
	// taken.
	Commands func() map[string]uint64
	// History returns how the history does; nil where none is kept: it has no series then.
	History func() history.Health
	// Notify returns how messages to people do; nil where nobody is told.
	Notify func() notify.Stats
	// Heartbeat counts heartbeats by result; nil where there are none.
	Heartbeat func() [notify.Refused + 1]uint64
	// Commissioning returns what the last commissioning found; nil, or false, where there is none.
	Commissioning func() (commission.Reference, bool)
	// Pressure is that of the air where no sensor measures it, Pa.
	Pressure float64
	// Totals counts over ticks; nil: nothing is counted.
	Totals *Totals
	// Loop returns how punctual the sampling loop is.
	Loop func() Loop
}

// Loop says how punctual the sampling loop is.
type Loop struct {
	// Late counts frames that came later than a period after they were due.
	Late uint64
	// Missed counts frames that were left out because the one before had taken too long.
	Missed uint64
	// Lateness is how late the newest frame was.
	Lateness time.Duration
}

// Metrics is a registry of its own with all that is exposed.
type Metrics struct {
	registry *prometheus.Registry
}

// New registers everything.
func New(o Options) *Metrics {
	m := &Metrics{registry: prometheus.NewRegistry()}
	m.registry.MustRegister(
		&collector{o},
		collectors.NewGoCollector(),
		collectors.NewProcessCollector(collectors.ProcessCollectorOpts{}),
	)
	return m
}

// Gather returns what a scrape would show now.
func (m *Metrics) Gather() ([]*dto.MetricFamily, error) { return m.registry.Gather() }

// Handler serves the exposition, in the OpenMetrics format to whoever asks for it. It is never
// compressed: a compressor takes more memory than all that is exposed, again at each scrape.
func (m *Metrics) Handler() http.Handler {
	return promhttp.HandlerFor(m.registry, promhttp.HandlerOpts{
		EnableOpenMetrics:   true,
		DisableCompression:  true,
		MaxRequestsInFlight: 4,
		Timeout:             5 * time.Second,
	})
}

// series is a metric as it is declared, once, whatever its labels' values.
type series struct {
	desc *prometheus.Desc
	kind prometheus.ValueType
}

var declared []*prometheus.Desc

func declare(kind prometheus.ValueType, name, help string, labels ...string) series {
	d := prometheus.NewDesc("fluewright_"+name, help, labels, nil)
	declared = append(declared, d)
	return series{d, kind}
}

func gauge(name, help string, labels ...string) series {
	return declare(prometheus.GaugeValue, name, help, labels...)
}

func counter(name, help string, labels ...string) series {
	return declare(prometheus.CounterValue, name, help, labels...)
}

var (
	buildInfo  = gauge("build_info", "Always 1; the labels say what runs.", "version", "goversion", "goarch")
	configInfo = gauge("config_info", "Always 1; the label tells configurations apart, and begins the SHA-256 of the file.", "digest")
	siteInfo   = gauge("site_info", "Always 1; the labels name the site, and its region if it has one.", "site", "region")

	temperature  = gauge("temperature_celsius", "Temperature of the channel. Absent without a usable reading.", "channel")
	draft        = gauge("draft_pascals", "Draft, room minus flue pressure: positive when the chimney pulls. Absent without a usable reading.")
	draftAverage = gauge("draft_average_pascals", "Draft averaged against wind: positive when the chimney pulls. Absent without usable readings.")
	ambient      = gauge("ambient_pressure_pascals", "Absolute pressure of the air. Absent without a usable reading.")
	quality      = gauge("channel_quality", "1 for the quality that the channel's reading has, 0 for the others.", "channel", "quality")
	lastReading  = gauge("channel_last_reading_timestamp_seconds", "When the channel was last really measured, by the wall clock. Absent before that.", "channel")

	sensorInfo     = gauge("sensor_info", "Always 1; the labels say which chip it is and where it sits.", "sensor", "chip", "bus", "address")
	sensorUp       = gauge("sensor_up", "1 if the last look at the chip gave a sample.", "sensor")
	sensorSamples  = counter("sensor_samples_total", "Looks at the chip that gave a sample.", "sensor")
	sensorErrors   = counter("sensor_read_errors_total", "Looks at the chip that gave none, by the code of the fault.", "sensor", "reason")
	sensorDuration = gauge("sensor_read_duration_seconds", "How long the last look at the chip took.", "sensor")

	sensorSpikes = counter("sensor_spikes_rejected_total", "Samples withheld because no probe can have measured them.", "sensor")
	sensorFrozen = counter("sensor_frozen_looks_total", "Looks that found the chip repeating itself.", "sensor")
	sensorJumps  = counter("sensor_cold_junction_jumps_total", "Jumps of the amplifier's terminals in temperature.", "sensor")
	sensorClamps = counter("sensor_lag_clamps_total", "Readings whose sheath's lag was not made up for in full, because no gas is that hot.", "sensor")
	supplyDips   = counter("supply_dips_total", "Times that the board's supply voltage became low; 0 too on a board that cannot tell.")

	alarmActive      = gauge("alarm_active", "1 while the alarm stands, acknowledged or not. Always present; see alarm_judged.", "alarm", "channel", "priority")
	alarmJudged      = gauge("alarm_judged", "0 while the alarm cannot be judged: too early, a reading is missing, or the loop stands still.", "alarm", "channel")
	alarmOccurrences = counter("alarm_occurrences_total", "How often the alarm was raised, over restarts where the program keeps its state.", "alarm", "channel")
	alarmsRaised     = counter("alarms_raised_total", "Alarms raised since the program began, by priority.", "priority")
	alarms           = gauge("alarms", "How many alarms there are that are standing, unacknowledged, shelved, suppressed, stale (standing for over a day) or chattering (raised three times in the last minute).", "which")
	alarmFlood       = gauge("alarm_flood_active", "1 from more than 10 alarms in 10 minutes until fewer than 5.")
	alarmFloods      = counter("alarm_floods_total", "Floods of alarms since the program began.")
	phase            = gauge("phase", "1 for the phase that the burn is in, 0 for the others.", "phase")

	frames         = counter("frames_total", "Frames that were analysed.")
	frameTimestamp = gauge("frame_timestamp_seconds", "When the newest frame was analysed, by the wall clock.")
	framesLate     = counter("frames_late_total", "Frames that came later than a period after they were due.")
	framesMissed   = counter("frames_missed_total", "Frames that were left out because those before came too late.")
	frameLateness  = gauge("frame_lateness_seconds", "How late the newest frame was.")
	clock          = gauge("clock_synchronized", "1 if the wall clock was known to be synchronised at the newest frame.")

	mqttConnected = gauge("mqtt_connected", "1 while there is a session with the MQTT broker.")
	mqttConnects  = counter("mqtt_connects_total", "Sessions with the MQTT broker that came up.")
	mqttPublished = counter("mqtt_messages_published_total", "Messages that the MQTT broker acknowledged.")
	mqttFailed    = counter("mqtt_messages_failed_total", "Messages that the MQTT broker did not acknowledge before the connection went; they are sent again.")
	mqttDropped   = counter("mqtt_messages_dropped_total", "Messages given up because too many waited.")
	mqttExpiry    = gauge("mqtt_certificate_expiry_timestamp_seconds", "When the certificate ends that the MQTT broker is shown at the next connection, or one that it is signed by. Absent without one.")
	mqttPending   = gauge("mqtt_messages_pending", "Messages that wait for the MQTT broker or its acknowledgement.")

	mqttOutboxEvents  = gauge("mqtt_outbox_events_pending", "Alarms and other events in the history that the MQTT broker does not have yet.")
	mqttOutboxRows    = gauge("mqtt_outbox_rows_pending", "Rows of readings in the history that the MQTT broker does not have yet, at most. Those of the present interval are among them.")
	mqttOutboxOldest  = gauge("mqtt_outbox_oldest_timestamp_seconds", "When the oldest event or row was that the MQTT broker does not have yet, by the wall clock. Absent while it has all, and while that time is not known.")
	mqttOutboxDropped = counter("mqtt_outbox_dropped_total", "Events and rows of the history that the MQTT broker will never have, by the reason.", "reason")

	commandsTotal = counter("commands_total", "Commands that came through the broker, accepted or refused, by the reason. Of those accepted, some are refused later.", "result")

	brokerClients       = gauge("broker_clients_connected", "Connections to the MQTT broker within the program, the monitor's own left out.")
	brokerRetained      = gauge("broker_retained_messages", "Messages that the MQTT broker within the program retains.")
	brokerRetainedBytes = gauge("broker_retained_bytes", "Size of the messages that the MQTT broker within the program retains.")
	brokerRefused       = counter("broker_refused_total", "What the MQTT broker within the program refused its clients, by the reason.", "reason")
	brokerSaveErrors    = counter("broker_save_errors_total", "Attempts to keep retained alarms over a restart that failed.")

	notifyAttempts     = counter("notification_attempts_total", "Attempts to send a message to a person or an alertmanager, by what became of them.", "transport", "result")
	notifyDelivered    = gauge("notification_last_delivery_timestamp_seconds", "When the transport last delivered, by the wall clock. Absent before that.", "transport")
	notifyPending      = gauge("notifications_pending", "Ways to people in which something waits or is being sent.")
	notifyAcknowledged = counter("notification_acknowledgements_total", "Answers to messages: accepted ones acknowledged an alarm, refused ones had no valid token.", "result")
	heartbeats         = counter("heartbeats_total", "Heartbeats sent, by what became of them.", "result")

	historyState      = gauge("history_state", "1 for how the history's file does, 0 for the others.", "state")
	historyBytes      = gauge("history_file_bytes", "Size of the history's file when it was last written.")
	historyUsed       = gauge("history_used_bytes", "The part of the history's file that holds something; 0 until it is first tidied.")
	historyCommit     = gauge("history_last_commit_timestamp_seconds", "When the history was last written with success, by the wall clock. Absent before that.")
	historyCommits    = counter("history_commits_total", "Writes of the history that succeeded.")
	historyErrors     = counter("history_write_errors_total", "Attempts to write the history that failed.")
	historyRows       = gauge("history_rows_pending", "Rows of readings that are in memory alone.")
	historyEvents     = gauge("history_events_pending", "Alarms, burns and other events that are in memory alone.")
	historyDropped    = counter("history_rows_dropped_total", "Rows lost because memory could not hold them until they were written.")
	historyLost       = counter("history_events_lost_total", "Events lost because memory could not hold them until they were written.")
	historyTrimmed    = counter("history_rows_trimmed_total", "Rows that went before their time because the file was at its ceiling.")
	historyUnreadable = counter("history_rows_unreadable_total", "Rows of the file that were found damaged and left out.")
)
