package metrics

import (
	"math"
	"strings"

	"fluewright/analysis/burn"
	"fluewright/analysis/drive"
	"fluewright/analysis/frame"
	"fluewright/daemon/internal/commission"
	"fluewright/daemon/internal/status"
)

var (
	commissioningInfo = gauge("commissioning_info", "Always 1; the labels say which report the last whole commissioning has, and what it came to. Absent before one.", "number", "result")
	commissioningTime = gauge("commissioning_timestamp_seconds", "When the last whole commissioning ended, by the wall clock. Absent before one, and where the clock was not right.")
	commissionedDraft = gauge("commissioned_draft_pascals", "Draft at the last whole commissioning, with the fire burning at the mark that was set, and with it out. Absent where it was not measured.", "fire")
	commissionedShare = gauge("draft_commissioned_ratio", "Draft averaged against wind over that of the commissioning at an equal drive. Absent unless it can be told now.", "fire")
)

const burning, out = "burning", "out"

// warm is by how much in K a flue may be warmer than the room for its chimney to count as
// cold: what drives it is then the house.
const warm = 5.0

// commissioned writes what the last commissioning found, and the draft against it.
func commissioned(to sink, ref commission.Reference, s *status.Status, fresh bool, pressure float64) {
	to.put(commissioningInfo, 1, ref.Number, strings.ReplaceAll(string(ref.Verdict), " ", "-"))
	if !ref.Made.IsZero() {
		to.put(commissioningTime, seconds(ref.Made))
	}
	if ref.Draft > 0 {
		to.put(commissionedDraft, ref.Draft, burning)
	}
	if ref.Cold > 0 {
		to.put(commissionedDraft, ref.Cold, out)
	}
	a := &s.Assessment
	if !fresh || a.PhaseHeld || a.Draft.Quality != frame.Good {
		return
	}
	var v frame.Values
	for c := range v {
		v[c] = math.NaN()
		if in := s.Frame.Inputs[c]; in.Quality == frame.Good {
			v[c] = in.Value
		}
	}
	switch {
	case a.Phase == burn.CleanBurn && !a.Door.Open:
		now, _ := drive.Air{Pressure: pressure}.Of(&v)
		if share, ok := ref.Burning(a.Draft.Value, now); ok {
			to.put(commissionedShare, share, burning)
		}
	case a.Phase == burn.Cold && v[frame.Flue]-v[frame.Room] < warm:
		if share, ok := ref.Out(a.Draft.Value, v[frame.Room]-v[frame.Outdoor]); ok {
			to.put(commissionedShare, share, out)
		}
	}
}
