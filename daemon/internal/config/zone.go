package config

import (
	"fmt"
	"time"
	_ "time/tzdata" // a small board may have no table of zones, and a configuration must not depend on it
)

// timeZone checks the name of a time zone. "Local" and the empty name mean something to the
// library and nothing to whoever reads the file elsewhere.
func timeZone(name string) error {
	if _, err := time.LoadLocation(name); err != nil || name == "" || name == "Local" {
		return fmt.Errorf("%q is no time zone; it is a name of the IANA's, like \"America/Chicago\" or \"Europe/Vienna\", or \"UTC\"", name)
	}
	return nil
}

// Zone is the site's time zone: the machine's own where none is configured.
func (s *Site) Zone() *time.Location {
	if s.TimeZone == "" {
		return time.Local
	}
	zone, err := time.LoadLocation(s.TimeZone)
	if err != nil {
		return time.UTC // cannot be: the name was checked
	}
	return zone
}
