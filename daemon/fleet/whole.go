package main

import (
	"bytes"
	"context"
	"fmt"
	"log/slog"
	"os"
	"path/filepath"

	"fluewright/configs"
	"fluewright/daemon/internal/app"
	"fluewright/daemon/internal/config"
	"fluewright/sensors/bench"
)

// wholeName is what the monitor is called that is all there.
const wholeName = "whole-0000"

// whole runs one complete monitor beside the fleet: virtual chips, a history in a file, commands.
// A technician can ask it for a trend through the broker.
func whole(ctx context.Context, o *Options) error {
	text := bytes.Replace(configs.Demo, []byte(`name = "demo"`), []byte(`name = "`+wholeName+`"`), 1)
	cfg, err := config.Parse("demo.toml", text)
	if err != nil {
		return fmt.Errorf("read demo configuration: %w", err)
	}
	cfg.Web.Listen = "127.0.0.1:0"
	cfg.MQTT.Embedded, cfg.MQTT.Broker, cfg.MQTT.User, cfg.MQTT.CAFile = "", o.Broker, o.User, o.CAFile
	cfg.MQTT.CertificateFile, cfg.MQTT.KeyFile, cfg.MQTT.Metered = of(o.CertFile, wholeName), of(o.KeyFile, wholeName), o.Metered
	past, err := os.MkdirTemp("", "fluewright-fleet-")
	if err != nil {
		return fmt.Errorf("make a place for the history: %w", err)
	}
	defer os.RemoveAll(past)
	if o.Password != "" {
		cfg.MQTT.PasswordFile = filepath.Join(past, "password")
		if err := os.WriteFile(cfg.MQTT.PasswordFile, []byte(o.Password), 0o600); err != nil {
			return fmt.Errorf("pass the password on: %w", err)
		}
	}
	house, err := bench.New(bench.Config{Seed: o.Seed, Scenario: bench.Night()})
	if err != nil {
		return fmt.Errorf("set up bench: %w", err)
	}
	if err := house.Register(); err != nil {
		return fmt.Errorf("register bench: %w", err)
	}
	defer house.Close()
	return app.Run(ctx, cfg, app.Options{
		Version: version, History: past, Configuration: string(text), Log: slog.New(slog.DiscardHandler),
	})
}
