package web

import (
	"encoding/json"
	"fmt"
	"net/http"
	"time"

	"fluewright/daemon/internal/health"
	"fluewright/daemon/internal/verdict"
)

// health answers whether the monitor does its work: whether the loop has ticked lately.
// What it found out by ticking (a lost sensor, an alarm) is no matter of its health.
func (o *Options) health(w http.ResponseWriter, _ *http.Request) {
	answer := health.Report{Status: "ok", Problems: []string{}, Checks: []health.Check{}}
	if o.Checks != nil {
		answer.Checks = o.Checks()
	}
	age, ok := o.Feed.Age()
	switch {
	case !ok:
		answer.Problems = append(answer.Problems, "nothing has been read since the start")
	case age > o.StaleAfter:
		answer.Problems = append(answer.Problems, fmt.Sprintf("nothing has been read for %s", verdict.Ago(age)))
	}
	if ok {
		seconds := age.Round(time.Millisecond).Seconds()
		answer.TickAge = &seconds
	}
	w.Header().Set("Content-Type", "application/json")
	w.Header().Set("Cache-Control", "no-store")
	if len(answer.Problems) > 0 {
		answer.Status = "failing"
		w.WriteHeader(http.StatusServiceUnavailable)
	}
	_ = json.NewEncoder(w).Encode(answer) // whoever asked may have gone
}
