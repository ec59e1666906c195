package metrics

import "fluewright/daemon/internal/remotewrite"

var (
	remoteRequests = counter("remote_write_requests_total", "Requests to a receiver of remote write, by what became of them.", "destination", "result")
	remoteSent     = counter("remote_write_samples_sent_total", "Samples that a receiver of remote write has taken.", "destination")
	remoteDropped  = counter("remote_write_samples_dropped_total", "Samples that a receiver of remote write will never have, by the reason.", "destination", "reason")
	remotePending  = gauge("remote_write_rows_pending", "Rows of the history that a receiver of remote write does not have yet, at most.", "destination")
	remoteOldest   = gauge("remote_write_oldest_timestamp_seconds", "When the oldest row was that a receiver of remote write does not have yet, by the wall clock. Absent while it has all, and while that time is not known.", "destination")
	remoteTaken    = gauge("remote_write_last_success_timestamp_seconds", "When a receiver of remote write last took something, by the wall clock. Absent before that.", "destination")
)

// remote writes how a receiver of remote write does.
func remote(out sink, r remotewrite.Stats) {
	for result, n := range r.Requests {
		out.put(remoteRequests, float64(n), r.Destination, result)
	}
	for reason, n := range r.Dropped {
		out.put(remoteDropped, float64(n), r.Destination, reason)
	}
	out.put(remoteSent, float64(r.Sent), r.Destination)
	out.put(remotePending, float64(r.Pending), r.Destination)
	if !r.Oldest.IsZero() {
		out.put(remoteOldest, seconds(r.Oldest), r.Destination)
	}
	if !r.LastTaken.IsZero() {
		out.put(remoteTaken, seconds(r.LastTaken), r.Destination)
	}
}
