// Package burnlog reads and writes burn logs: CSV after RFC 4180, the form in which a
// night leaves one furnace and is judged again elsewhere. The first column is "time"
// (RFC 3339, or seconds); then any of the channels with their unit. An empty field is
// no reading. Logs may be compressed with gzip.
package burnlog

import (
	"fmt"
	"strings"

	"fluewright/analysis/frame"
)

// pascalsPerInH2O is the conventional inch of water.
const pascalsPerInH2O = 249.08891

// column is one channel's column and how its numbers become SI.
type column struct {
	channel frame.Channel
	si      func(float64) float64
}

func asIs(v float64) float64           { return v }
func fromFahrenheit(v float64) float64 { return (v - 32) / 1.8 }
func fromInH2O(v float64) float64      { return v * pascalsPerInH2O }

// columnOf reads a heading such as "flue_celsius" or "draft_inh2o".
func columnOf(heading string) (column, error) {
	name, unit, _ := strings.Cut(heading, "_")
	c, ok := frame.Parse(name)
	if !ok {
		return column{}, fmt.Errorf("column %q is no channel: want one of %s", heading, strings.Join(headings(), " "))
	}
	switch {
	case c.Pressure() && unit == "pascals", !c.Pressure() && unit == "celsius":
		return column{c, asIs}, nil
	case c.Pressure() && unit == "inh2o":
		return column{c, fromInH2O}, nil
	case !c.Pressure() && unit == "fahrenheit":
		return column{c, fromFahrenheit}, nil
	case c.Pressure():
		return column{}, fmt.Errorf("column %q: %s is in pascals or inh2o", heading, name)
	default:
		return column{}, fmt.Errorf("column %q: %s is in celsius or fahrenheit", heading, name)
	}
}

// Heading is the column's name as it is written: always SI.
func Heading(c frame.Channel) string {
	if c.Pressure() {
		return c.String() + "_pascals"
	}
	return c.String() + "_celsius"
}

func headings() []string {
	var all []string
	for _, c := range frame.All() {
		all = append(all, Heading(c))
	}
	return all
}
