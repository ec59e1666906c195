// Package remotewrite sends readings to a receiver of Prometheus remote write, in version 1.0
// of its protocol or 2.0, and makes up for what the receiver missed.
//
// Samples live once, in the history. A destination is a [cursor] in it, by run and moment,
// never by the wall clock; it moves only when the receiver has taken what is before it, or
// has said that it never will. What is sent depends on the rows alone, so that what is sent
// again after a power cut is the same samples, which a receiver takes once. A row whose time
// is not tied to a synchronised clock waits until it is.
//
// Readings have the names and labels that a scrape gives them, and the label site. A channel
// without a usable reading gets the marker that ends its series, and so does every channel
// before a gap. Everything else that a scrape would show (alarms, phase, counters) is in no
// row: it goes out as it is now, once the receiver has all rows, because a receiver that has
// seen the present may refuse the past.
//
// The messages are written by hand: they are a few fields, and the generated types would make
// the program larger by megabytes.
//
// Formats: https://prometheus.io/docs/specs/prw/remote_write_spec/ and …_2_0/.
package remotewrite
