package main

import (
	"context"
	"fmt"

	"fluewright/analysis/frame"
	"fluewright/daemon/internal/app"
	"fluewright/daemon/internal/config"
)

// guided is what the commands that calibrate share.
type guided struct {
	Config string `help:"Configuration file." type:"path" default:"/etc/fluewright/fluewright.toml" placeholder:"FILE"`
	State  string `help:"Directory that keeps the result: the daemon's." type:"path" env:"STATE_DIRECTORY" default:"/var/lib/fluewright" placeholder:"DIR"`
	NoFire bool   `help:"You have looked: there is no fire and there are no coals. Needed where the flue cannot be read."`
}

// open reads the configuration and prepares the conversation.
func (g *guided) open(std streams) (*config.Config, app.CalibrateOptions, error) {
	cfg, err := loadConfig(g.Config)
	return cfg, app.CalibrateOptions{State: g.State, In: std.in, Out: std.out, NoFire: g.NoFire}, err
}

type zeroCmd struct {
	guided
}

// Run leads through the zero of the draft sensor.
func (c *zeroCmd) Run(ctx context.Context, std streams) error {
	cfg, options, err := c.open(std)
	if err != nil {
		return err
	}
	return app.Zero(ctx, cfg, options)
}

type calibrateCmd struct {
	guided
	Channel string `arg:"" help:"The thermocouple's channel, such as flue."`
	Ice     bool   `help:"Hold it into melting ice."`
	Boil    bool   `help:"Hold it into boiling water; its temperature follows the pressure of the air."`
}

// Validate checks what kong cannot.
func (c *calibrateCmd) Validate() error {
	if ch, ok := frame.Parse(c.Channel); !ok || ch.Pressure() {
		return fmt.Errorf("%s is no temperature channel", c.Channel)
	}
	if !c.Ice && !c.Boil {
		return fmt.Errorf("give --ice, --boil or both")
	}
	return nil
}

// Run leads through the baths.
func (c *calibrateCmd) Run(ctx context.Context, std streams) error {
	cfg, options, err := c.open(std)
	if err != nil {
		return err
	}
	channel, _ := frame.Parse(c.Channel) // checked by Validate
	return app.Calibrate(ctx, cfg, channel, c.Ice, c.Boil, options)
}
