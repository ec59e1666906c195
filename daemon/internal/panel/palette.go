package panel

import "fluewright/analysis/burn"

// role is what a colour is for.
type role uint8

const (
	none role = iota
	ground
	ink
	muted
	grid
	edge // frames and the lines of midnight
	high // alarms, by priority
	medium
	low
	limit
	band    // the specified band
	missing // the hatching of gaps
	hatch   // the patterns of phases
	trace0
	_
	_
	_
	_
	_
	cloud0 // the readings around a trace
	_
	_
	_
	_
	_
	phase0
	roles = phase0 + role(burn.Coals) + 1
)

// traces is how many traces have a colour or a dash of their own.
const traces = 6

func phaseRole(p burn.Phase) role { return phase0 + role(p) }

type palette [roles]string

// The colours are chosen for a contrast of 4.5 for text and 3 for lines on every ground
// that they meet, as WCAG 2 asks for; a test holds them to it.
var light = palette{
	ground: "#ffffff", ink: "#1b1f24", muted: "#525a63", grid: "#d9dde2", edge: "#868e97",
	high: "#b3121d", medium: "#8f4a00", low: "#2f5f8f", limit: "#b3121d",
	band: "#bcd9bf", missing: "#b9bfc6", hatch: "#767f89",
	trace0: "#9c4300", "#6b2fa0", "#00558f", "#17663a", "#8a1458", "#565200",
	cloud0: "#9c4300", "#6b2fa0", "#00558f", "#17663a", "#8a1458", "#565200",
	phase0: "#f3f3f3", "#eef2f7", "#fff3da", "#fdebd6", "#e8f5e9", "#ebe7e1", "#fae6e3",
}

var dark = palette{
	ground: "#14181c", ink: "#e8ebee", muted: "#a9b2bb", grid: "#30373e", edge: "#7b848d",
	high: "#ff8a84", medium: "#f0b060", low: "#8cc0f2", limit: "#ff8a84",
	band: "#2c4a31", missing: "#4b545d", hatch: "#8b949d",
	trace0: "#f3a45e", "#c9a3f5", "#79bdf2", "#7fd09a", "#f29ac8", "#d6cf6a",
	cloud0: "#f3a45e", "#c9a3f5", "#79bdf2", "#7fd09a", "#f29ac8", "#d6cf6a",
	phase0: "#1b1f23", "#1a222c", "#2c2615", "#30241a", "#18291c", "#28251f", "#311f1f",
}

var print = palette{
	ground: "#ffffff", ink: "#000000", muted: "#333333", grid: "#d4d4d4", edge: "#777777",
	high: "#000000", medium: "#000000", low: "#000000", limit: "#000000",
	band: "#e2e2e2", missing: "#aaaaaa", hatch: "#666666",
	trace0: "#000000", "#000000", "#000000", "#000000", "#000000", "#000000",
	cloud0: "#777777", "#777777", "#777777", "#777777", "#777777", "#777777",
	phase0: "#ffffff", "#ffffff", "#ffffff", "#ffffff", "#ffffff", "#ffffff", "#ffffff",
}

// dashes tell the traces apart where there is no colour.
var dashes = [traces]string{"none", "8 3", "2 2", "9 3 2 3", "5 2", "12 3 2 3 2 3"}

// follows reports whether a style sheet may change the colours.
func (s Scheme) follows() bool { return s == Auto || s == Linked }

// palette returns the colours that the elements carry themselves.
func (s Scheme) palette() *palette {
	switch s {
	case Dark:
		return &dark
	case Print:
		return &print
	default:
		return &light
	}
}
