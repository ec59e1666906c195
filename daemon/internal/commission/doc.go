// Package commission puts commissioning into words, for a terminal, a page and a report,
// and makes the report: a record with its number and hash, as JSON and as HTML that prints
// to one or two pages. It changes when what people are told does; the procedure and its
// judgements are analysis/commissioning.
//
// It reads no chip and keeps no file: whoever runs the procedure hands it a State.
package commission
