package web

import (
	"fmt"
	"log/slog"
	"net/http"
	"time"

	"fluewright/analysis/frame"
	"fluewright/daemon/internal/status"
	"fluewright/daemon/internal/status/statustest"
)

type us struct{}

func (us) Temperature(c float64) string      { return fmt.Sprintf("%.0f °F", c*9/5+32) }
func (us) Pressure(pa float64) string        { return fmt.Sprintf("%.3f in. w.c.", pa/249.08891) }
func (us) AbsolutePressure(p float64) string { return fmt.Sprintf("%.2f inHg", p/3386.389) }

func options() Options {
	return Options{
		Site: "cellar-7", Version: "v0.1.0", Feed: status.NewFeed(), Verdict: statustest.Site, Units: us{},
		Limits: [frame.Count]float64{frame.Firebox: 900, frame.Flue: 700}, DraftLow: 8, DraftHigh: 15,
		StaleAfter: 5 * time.Second,
		Metrics: http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) {
			_, _ = w.Write([]byte("fluewright_phase 1\n"))
		}),
		Names: []string{"board.lan", "furnace"}, Log: slog.New(slog.DiscardHandler),
	}
}
