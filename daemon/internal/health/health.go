// Package health is what a running monitor says of how it does its own work, for update
// tools and for whoever keeps services running: no word of the fire is in it. The monitor
// answers with a Report at /healthz, and Ask fetches it.
package health

import (
	"context"
	"crypto/tls"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net/http"
	"slices"
	"strings"
	"time"
)

// State is how one part does.
type State string

// The states.
const (
	OK    State = "ok"
	Note  State = "note"  // worth knowing, and nothing that a new version or a repair would mend
	Early State = "early" // it cannot be told yet
	Wrong State = "wrong"
)

// Check is one part of the work.
type Check struct {
	Name  string `json:"name"` // sampling, alarms, storage, clock, delivery, notification
	State State  `json:"state"`
	// Code is what is wrong where the alarm monitor-impaired has a word for it.
	Code    string `json:"code,omitempty"`
	Message string `json:"message"`
	// Alarms is each alarm with whether it would be raised; of the check "alarms" alone.
	Alarms []Arming `json:"alarms,omitempty"`
}

// Arming says whether an alarm would be raised now, and if not, why: nothing of whether it is.
type Arming struct {
	Alarm   string `json:"alarm"`
	Channel string `json:"channel,omitempty"`
	// State is ok where it would be raised, early where its judge needs more time, note where
	// a person has shelved it or whole burns are judged, and wrong where it is blind.
	State State  `json:"state"`
	Why   string `json:"why,omitempty"`
}

// Report is the whole answer. Its status is "ok" while the loop ticks, and "failing"
// otherwise, with the status code 503; whether all is well is for Fit to say.
type Report struct {
	Status string `json:"status"`
	// TickAge is how long ago the loop last ticked, in seconds; null if it never did.
	TickAge  *float64 `json:"tick_age_seconds"`
	Problems []string `json:"problems"`
	Checks   []Check  `json:"checks"`
}

// Fit reports whether the monitor does all of its work, as far as it can tell.
func (r *Report) Fit() bool {
	return r.Status == "ok" && len(r.Checks) > 0 &&
		!slices.ContainsFunc(r.Checks, func(c Check) bool { return c.State != OK && c.State != Note })
}

// Says reports whether a check has a code.
func (r *Report) Says(code string) bool {
	return slices.ContainsFunc(r.Checks, func(c Check) bool { return c.Code == code })
}

const (
	// patience is how long the monitor may take to answer: it is on this computer.
	patience = 5 * time.Second
	// most bounds the answer: whoever listens there may be somebody else.
	most = 64 << 10
)

// Ask fetches the report of the monitor whose page is at an address such as
// "http://127.0.0.1:8080". trust is nil where it is not encrypted. Nobody is followed
// elsewhere, and no proxy is asked: it is this computer.
func Ask(ctx context.Context, page string, trust *tls.Config) (*Report, error) {
	if strings.HasSuffix(page, ":0") {
		return nil, errors.New("ask the monitor: it listens on whatever port is free, so nobody knows where; give web.listen a port")
	}
	ctx, cancel := context.WithTimeout(ctx, patience)
	defer cancel()
	request, err := http.NewRequestWithContext(ctx, http.MethodGet, page+"/healthz", nil)
	if err != nil {
		return nil, fmt.Errorf("ask the monitor: %w", err)
	}
	transport := &http.Transport{TLSClientConfig: trust, DisableKeepAlives: true}
	answer, err := transport.RoundTrip(request)
	if err != nil {
		return nil, fmt.Errorf("ask the monitor, which does not run or hangs: %w", err)
	}
	defer answer.Body.Close()
	r, err := read(io.LimitReader(answer.Body, most))
	if err != nil {
		return nil, fmt.Errorf("ask the monitor: what answers %s there is none: %w", answer.Status, err)
	}
	return r, nil
}

// read reads a report.
func read(in io.Reader) (*Report, error) {
	var r Report
	if err := json.NewDecoder(in).Decode(&r); err != nil {
		return nil, err
	}
	if r.Status == "" {
		return nil, errors.New("it says nothing of a status")
	}
	return &r, nil
}
