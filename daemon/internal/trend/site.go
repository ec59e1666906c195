package trend

import (
	"context"
	"fmt"
	"time"

	"fluewright/daemon/internal/config"
)

// Site is what must be known of the site to show its history.
type Site struct {
	Config *config.Config
	Zone   *time.Location
	// Assumed says why the configuration is not the history's own; empty if it is.
	Assumed string
}

// SiteOf takes the configuration that held at the end of a window from the history.
func SiteOf(ctx context.Context, a History, w Window, zone *time.Location) (Site, error) {
	s := Site{Config: config.Default(), Zone: zone}
	boots, err := a.Boots(ctx, w.From, w.To)
	if err != nil {
		return s, err
	}
	if len(boots) == 0 || boots[len(boots)-1].Configuration == "" {
		s.Assumed = "The history holds no configuration for this time: names, units and limits are the built-in ones."
		return s, nil
	}
	own, err := config.Parse("configuration", []byte(boots[len(boots)-1].Configuration))
	if err != nil {
		s.Assumed = fmt.Sprintf("The history's configuration is not one that this version reads: names, units and limits are the built-in ones (%v).", err)
		return s, nil
	}
	s.Config = own
	return s, nil
}
