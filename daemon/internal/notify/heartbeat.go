package notify

import (
	"context"
	"log/slog"
	"net/http"
	"sync/atomic"
	"time"
)

// Heartbeat asks for a URL as long as the monitor sees: whoever serves it notices when that
// ends, which the monitor itself cannot tell anybody.
type Heartbeat struct {
	// URL may hold a secret; it stands in no message.
	URL   string
	Every time.Duration
	// Alive reports whether the loop judges fresh readings. While it does not, nothing is
	// sent.
	Alive func() bool
	Log   *slog.Logger

	client  *http.Client
	results [Refused + 1]atomic.Uint64
}

// beatAgain is the pause after one that did not arrive.
const beatAgain = 20 * time.Second

// NewHeartbeat prepares one.
func NewHeartbeat(url string, every time.Duration, alive func() bool, log *slog.Logger) *Heartbeat {
	return &Heartbeat{URL: url, Every: every, Alive: alive, Log: log, client: newClient()}
}

// Run beats until ctx ends.
func (h *Heartbeat) Run(ctx context.Context) error {
	failed := false
	pause := time.Duration(0)
	for {
		select {
		case <-ctx.Done():
			return nil
		case <-time.After(pause):
		}
		if !h.Alive() {
			pause = min(h.Every, beatAgain) // as soon as it is alive
			continue
		}
		err := h.beat(ctx)
		if ctx.Err() != nil {
			return nil
		}
		r, after := resultOf(err)
		h.results[r].Add(1)
		pause = h.Every
		if r == Failed {
			pause = max(min(h.Every, beatAgain), after)
		}
		if err != nil && !failed {
			h.Log.Warn("the heartbeat does not arrive", "error", err)
		}
		failed = err != nil
	}
}

func (h *Heartbeat) beat(ctx context.Context) error {
	within, cancel := context.WithTimeout(ctx, sendWithin)
	defer cancel()
	req, err := http.NewRequestWithContext(within, http.MethodGet, h.URL, nil)
	if err != nil {
		return withoutAddress(err)
	}
	return do(h.client, req)
}

// Attempts counts since the program began, by result.
func (h *Heartbeat) Attempts() (n [Refused + 1]uint64) {
	for r := range h.results {
		n[r] = h.results[r].Load()
	}
	return n
}
