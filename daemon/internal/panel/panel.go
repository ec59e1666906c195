// Package panel draws stacked panels over one time axis as SVG: what was read, in which
// phase the fire was, what was limited, what was told. It is the one renderer for pages,
// reports and replays; it draws what it is given and judges nothing.
//
// A picture has no script and no outside font, every element that needs an id has the
// picture's prefix, and the same picture gives the same bytes. What colour tells is told
// by a word, a shape or a pattern too.
package panel

import (
	"fmt"
	"time"

	"fluewright/analysis/alarm"
	"fluewright/analysis/burn"
	"fluewright/daemon/internal/units"
)

// Scheme is what the picture is drawn for.
type Scheme uint8

// The schemes.
const (
	// Auto follows the reader: light, dark or print. It needs a style element; where that
	// is forbidden, the picture is the light one.
	Auto Scheme = iota
	Light
	Dark
	Print // black on white, traces told apart by dashes
	// Linked follows the reader as Auto does, by a style sheet that the page brings: what
	// StyleSheet gives for its prefix.
	Linked
)

// The narrowest and the widest picture, CSS px.
const (
	MinWidth = 300
	MaxWidth = 2000
)

// Picture is what is to be drawn. Times are shown in Zone, quantities in Units.
type Picture struct {
	Title string
	// Prefix begins every id and class, so that several pictures can stand on one page.
	Prefix   string
	From, To time.Time
	// Now is where the readings end and the future begins; zero: at To.
	Now    time.Time
	Zone   *time.Location // nil: UTC
	Width  int            // CSS px
	Units  units.System
	Scheme Scheme
	// Elapsed says that times are counted from From, as where two burns are laid over each
	// other. Every panel then begins with the first colour.
	Elapsed bool
	Panels  []Panel
	Bands   []Band
	Marks   []Mark
}

// Quantity is what a panel shows.
type Quantity uint8

// The quantities.
const (
	Temperature Quantity = iota // °C
	Pressure                    // Pa, a draft
	Absolute                    // Pa, that of the air
)

// Panel is one diagram. Its values are SI.
type Panel struct {
	Title    string
	Quantity Quantity
	Traces   []Trace
	Limits   []Limit
	Band     *Specified
}

// Trace is one channel. Its columns share the time between From and To evenly: as many as
// the picture is wide, or more.
type Trace struct {
	Name    string
	Columns []Column
	// Hold is how far apart two columns with readings may be for the line to be drawn
	// between them, where readings are rarer than columns. Farther apart there is a gap.
	Hold time.Duration
	// Last is the last reading. Without its time it is the mean of the last column, if that
	// is short enough to be taken for one.
	Last      Reading
	Forecasts []Forecast
}

// Reading is a value and when it was read.
type Reading struct {
	Time  time.Time
	Value float64
}

// Limit is a value that should not be passed.
type Limit struct {
	Value float64
	Label string
}

// Specified is the band in which a value should be.
type Specified struct {
	Low, High float64
	Label     string
}

// Forecast is how a value was expected to go on, in order of time from when it was made.
type Forecast []Point

// Point is one of it. Probability is that of the limit being passed by then, 0 to 1.
type Point struct {
	Time        time.Time
	Value       float64
	Probability float64
}

// Band is a stretch of time in one phase.
type Band struct {
	From, To time.Time
	Phase    burn.Phase
}

// Kind is what a mark tells of.
type Kind uint8

// The kinds.
const (
	Alarm Kind = iota
	Reload
	Door
	Notice
	Note
	Commissioning
	kinds
)

var kindNames = [kinds]string{"alarm", "reload", "door open", "notice", "note", "commissioning"}

// Mark is something that happened: an alarm or an open door lasts, all else is a moment.
type Mark struct {
	Kind Kind
	// From and To are when; To is zero for a moment, and for what goes on at the end.
	From, To time.Time
	Name     string
	Priority alarm.Priority // of an alarm
	State    string         // of an alarm, as "acknowledged"; may be empty
}

// validate refuses what cannot be drawn.
func (p *Picture) validate() error {
	switch {
	case p.Width < MinWidth || p.Width > MaxWidth:
		return fmt.Errorf("draw picture: width %d px is not within %d to %d", p.Width, MinWidth, MaxWidth)
	case !p.From.Before(p.To):
		return fmt.Errorf("draw picture: it ends at %v and begins at %v", p.To, p.From)
	case p.Scheme > Linked:
		return fmt.Errorf("draw picture: no such scheme: %d", p.Scheme)
	}
	return nil
}
