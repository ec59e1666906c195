package message

// What can be wrong with the monitor itself: the faults of the alarm monitor-impaired.
const (
	HistorySlow     = "history-slow"
	HistoryFull     = "history-full"
	HistoryReadOnly = "history-read-only"
	HistoryFailing  = "history-failing"
	HistoryDamaged  = "history-damaged"
	HistoryLost     = "history-lost"
	AlarmsUnsaved   = "alarms-unsaved"
	HistoryNewer    = "history-newer"
	StateNewer      = "state-newer"

	CalibrationUnread = "calibration-unread"
	DeliveryDown      = "delivery-down"
	DeliveryLosing    = "delivery-losing"
	NotificationDown  = "notification-down"
	ClockJumping      = "clock-jumping"
	ClockUnset        = "clock-unset"
)

// DeliveryUnheard is a broker that takes what it is sent, and does not let us hear it.
const DeliveryUnheard = "delivery-unheard"

// And of those, what is wrong with the certificate that a broker elsewhere is shown.
const (
	CertificateEnding = "certificate-ending"
	CertificateEnded  = "certificate-ended"
)

// impairment says what is wrong, and what helps.
type impairment struct{ what, help string }

// impairments words each. Whether the fire is watched and what else is alarmed does not
// depend on any of them, and the help does not say so.
var impairments = map[string]impairment{
	HistorySlow: {
		"the storage takes seconds to answer",
		"A memory card that stalls is often near its end: have it replaced by one made for constant writing.",
	},
	HistoryFull: {
		"the storage is full, and what happens is kept in memory alone",
		"Make room on the memory card, or set a lower ceiling for the history.",
	},
	HistoryReadOnly: {
		"the storage cannot be written, and what happens is kept in memory alone",
		"A card that has turned read-only is at its end: have it replaced. If it is new, see who owns the state directory.",
	},
	HistoryFailing: {
		"the storage gives errors, and what happens is kept in memory alone",
		"Have the memory card and its seat looked at. A restart now loses what was not written yet.",
	},
	HistoryDamaged: {
		"the history was damaged; the file is set aside and a new one begun",
		"Power cuts and cards that wear out do this: have card and power supply looked at, and keep the old file.",
	},
	HistoryLost: {
		"a part of the history was lost, because memory could not hold it until it was written",
		"Have the memory card looked at.",
	},
	AlarmsUnsaved: {
		"the alarms cannot be saved, and a restart would forget them",
		"See that the state directory is there, has room and can be written.",
	},
	HistoryNewer: {
		"the history was written by a newer version of the program and is left as it is; what happens is kept in memory alone",
		"Install the newer version again. fluewright health has the exit code 4 until then.",
	},
	CalibrationUnread: {
		"the calibrations cannot be read, so readings are off by what the sensors are off by; the draft's zero counts most",
		"Put their file back from a copy, or take it away and zero the draft sensor again with fluewright zero. The log names the file.",
	},
	StateNewer: {
		"what was kept before was written by a newer version of the program and is left as it is; alarms and history are kept apart from it",
		"Install the newer version again. fluewright health has the exit code 4 until then.",
	},
	DeliveryDown: {
		"nothing reaches the MQTT broker, so nobody far away is told",
		"See whether the network is up and the broker runs. The page at the furnace shows everything.",
	},
	NotificationDown: {
		"messages to people do not get through",
		"See whether the network is up, and try it with fluewright notify --test. The page at the furnace shows everything.",
	},
	DeliveryLosing: {
		"messages for the MQTT broker are given up because too many wait",
		"See whether the network is slow or fails. The page at the furnace shows everything.",
	},
	DeliveryUnheard: {
		"the MQTT broker takes messages and does not pass this monitor's own word back to it, so nobody far away may be told",
		"Call the service: the broker's rules must let this site write its topics and read its own availability. The page at the furnace shows everything.",
	},
	CertificateEnding: {
		"the certificate for the MQTT broker ends within a week, and then nobody far away is told",
		"Call the service: they renew it with fluewright enrol --renew. The page at the furnace shows everything.",
	},
	CertificateEnded: {
		"the certificate for the MQTT broker has ended: once the connection breaks, nobody far away is told",
		"Call the service: they renew it with fluewright enrol --renew. The page at the furnace shows everything.",
	},
	ClockJumping: {
		"the clock is set again and again, so times are not to be trusted",
		"See that one service alone sets the clock, and whether the network is up.",
	},
	ClockUnset: {
		"the clock has not been set for a day, so times are not to be trusted",
		"Connect the board to a network with a time server, or fit a clock with a battery.",
	},
}
