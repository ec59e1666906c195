package config

import (
	"fmt"

	"fluewright/analysis/frame"
)

// Supported is what the table of chips says that the configuration knows.
type Supported struct {
	Name, Place string
	Feeds       [][]frame.Channel
}

// SupportedChips lists the chips in the order of the configuration's messages.
func SupportedChips() []Supported {
	var all []Supported
	for _, c := range chips {
		place := c.bus.String()
		if n := len(c.addresses); n > 0 {
			place += fmt.Sprintf(" %#02x", c.addresses[0])
			if n > 1 {
				place += fmt.Sprintf(" to %#02x", c.addresses[n-1])
			}
		}
		all = append(all, Supported{c.name, place, c.feeds})
	}
	return all
}
