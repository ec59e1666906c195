package analysis

import (
	"time"

	"fluewright/analysis/alarm"
	"fluewright/analysis/frame"
)

// Settings is what the analysis must know of a site. All SI.
type Settings struct {
	// Fitted says which channels the site has a sensor for. One that is fitted and has
	// no reading is a lost sensor; one that is not is simply not there.
	Fitted [frame.Count]bool
	// Limits are the temperatures above which a channel is overheated, °C; zero where
	// there is none. Only firebox, chamber and flue may have one.
	Limits [frame.Count]float64
	// DraftLow and DraftHigh are the band that the appliance's maker specifies, Pa.
	DraftLow, DraftHigh float64
	// DraftAverage is the time over which the draft is averaged against wind.
	DraftAverage time.Duration
	// Timing replaces the declared timing of the alarms it names.
	Timing map[alarm.Name]alarm.Timing
}
