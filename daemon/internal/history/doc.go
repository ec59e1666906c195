// Package history keeps what happened at a site in one SQLite file: readings at full rate
// for a season, by the minute for years, and events for ever.
//
// The loop hands each tick to [Store.Offer], which only adds to memory. One writer,
// [Store.Run], puts memory into the file in as few and as small writes as what is going on
// allows: flash wears, and a tick that nobody will miss can wait. Whether the file can be
// written or not, memory goes on; what it holds is written when the file can be again.
//
// # The file
//
// Readings are whole counts of a channel's resolution (table channels). Ten minutes of a
// channel are a chunk, with number, least, most and sum beside it; what came since the last
// chunk is in rows of the table tail. One row a minute, a quarter of an hour and an hour sum up
// all channels. Every row knows the run of the program (boot) and the moment on its clock,
// in ms, and those of events also what the wall clock said and whether it was trusted. What
// the wall clock should have said is in one place, the table clock, which is put right when
// more is known: the rows never change.
//
// The numbers of rows are boot<<40 and below that the moment: of a chunk its first second<<8
// and the channel, of a tail row the ms, of minutes, quarters and hours their number, of
// events a sequence. Boots come in the order of their numbers.
//
// The views trend_1min, trend_15min, trend_1h, alarm_log, burn_log, notice_log, phase_log,
// load_log, door_log, note_log, fuel_log, calibration_log, commissioning_log and boot_log have
// plain columns in SI units and UTC:
//
//	SELECT time, flue_mean, draft_min FROM trend_1min WHERE time >= '2026-11-25';
//	SELECT time, alarm, channel, state, message FROM alarm_log;
//	SELECT start, "end", peak_flue_celsius FROM burn_log;
//
// A bundle is a zip with such a file, history.db, that holds one window: its bounds are in the
// table bundle. [Open] reads files and bundles from outside.
//
// The schema's number is user_version. A new version only adds: a former release reads the
// file too, except chunks in a format that it does not know, which it leaves out and counts.
package history
