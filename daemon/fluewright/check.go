package main

import (
	"crypto/tls"
	"encoding/json"
	"fmt"

	"fluewright/daemon/internal/app"
)

type checkCmd struct {
	Config string `help:"Configuration file." type:"path" default:"/etc/fluewright/fluewright.toml" placeholder:"FILE"`
	JSON   bool   `help:"Print JSON." name:"json"`
}

// Run checks the file, then whether the buses that it names can be opened. It talks to
// no chip, so that it may run beside the daemon.
func (c *checkCmd) Run(std streams) error {
	cfg, err := loadConfig(c.Config)
	if err != nil {
		return err
	}
	found := app.CheckBuses(cfg)
	if c.JSON {
		if err := json.NewEncoder(std.out).Encode(found); err != nil {
			return fmt.Errorf("print findings: %w", err)
		}
	} else {
		fmt.Fprintf(std.out, "%s: the configuration is valid\n", c.Config)
	}
	wrong := false
	for _, b := range found {
		wrong = wrong || !b.OK
		if c.JSON {
			continue
		}
		if b.OK {
			fmt.Fprintf(std.out, "%s: can be opened\n", b.Bus)
		} else {
			fmt.Fprintf(std.out, "%s: %s\n    %s\n", b.Bus, b.Problem, b.Hint)
		}
	}
	if _, err := app.Transports(cfg); err != nil {
		fmt.Fprintln(std.err, "fluewright:", err)
		wrong = true
	}
	if err := app.CheckBroker(cfg); err != nil {
		fmt.Fprintln(std.err, "fluewright:", err)
		wrong = true
	}
	if w := cfg.Web; w.CertificateFile != "" {
		if _, err := tls.LoadX509KeyPair(w.CertificateFile, w.KeyFile); err != nil {
			fmt.Fprintln(std.err, "fluewright: the certificate of the pages is no good:", err)
			wrong = true
		}
	}
	if wrong {
		return errWrong
	}
	return nil
}
