package replay_test

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"strings"
	"testing"
	"time"

	"fluewright/analysis"
	"fluewright/analysis/frame"
	"fluewright/daemon/internal/replay"
	"fluewright/daemon/internal/units"
)

var settings = analysis.Settings{DraftLow: 10, DraftHigh: 15, DraftAverage: 30 * time.Second}

// log is a log of so many rows, a second apart.
func log(rows int) string {
	var b strings.Builder
	b.WriteString("time,flue_celsius,draft_pascals\n")
	for i := range rows {
		fmt.Fprintf(&b, "%d,%d,12\n", i, 20+i%7)
	}
	return b.String()
}

// Every row is judged, in its order, however long the log is, and the last line says so.
func TestEveryRowIsJudged(t *testing.T) {
	for _, rows := range []int{1, 255, 256, 257, 5000} {
		var out bytes.Buffer
		next := 0
		watch := func(at time.Time, f frame.Frame, _ *analysis.Assessment) {
			if at.Unix() != int64(next) || f.Inputs[frame.Flue].Value != float64(20+next%7) {
				t.Fatalf("row %d: %v, %v", next, at, f.Inputs[frame.Flue])
			}
			next++
		}
		if err := replay.Run(strings.NewReader(log(rows)), &out, settings, units.SI, watch); err != nil {
			t.Fatal(err)
		}
		lines := strings.Split(strings.TrimSpace(out.String()), "\n")
		var s replay.Summary
		if err := json.Unmarshal([]byte(lines[len(lines)-1]), &s); err != nil {
			t.Fatal(err)
		}
		if next != rows || s.Rows != rows || s.Type != "summary" {
			t.Errorf("%d rows: %d judged, summary %+v", rows, next, s)
		}
	}
}

// What was found before a bad row is written, and no summary.
func TestABadRowEndsIt(t *testing.T) {
	var out bytes.Buffer
	err := replay.Run(strings.NewReader(log(1000)+"1000,warm,12\n"+log(1)), &out, settings, units.SI)
	if err == nil || !strings.Contains(err.Error(), "row 1002") {
		t.Errorf("error %v", err)
	}
	if !strings.Contains(out.String(), `"phase"`) || strings.Contains(out.String(), `"summary"`) {
		t.Errorf("written: %s", out.String())
	}
}

// Nobody is left reading when the output fails.
func TestABrokenOutputEndsIt(t *testing.T) {
	if err := replay.Run(strings.NewReader(log(5000)), broken{}, settings, units.SI); err == nil {
		t.Error("no error")
	}
}

type broken struct{}

func (broken) Write([]byte) (int, error) { return 0, io.ErrClosedPipe }
