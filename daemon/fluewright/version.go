package main

import (
	"encoding/json"
	"fmt"
	"runtime"
	"runtime/debug"
)

// version is set by the linker for a release.
var version = "devel"

type versionCmd struct {
	JSON bool `help:"Print JSON." name:"json"`
}

// buildInfo is what is known of this binary.
type buildInfo struct {
	Version  string `json:"version"`
	Revision string `json:"revision,omitempty"`
	Go       string `json:"go"`
	Platform string `json:"platform"`
}

func thisBuild() buildInfo {
	b := buildInfo{Version: version, Go: runtime.Version(), Platform: runtime.GOOS + "/" + runtime.GOARCH}
	if info, ok := debug.ReadBuildInfo(); ok {
		for _, s := range info.Settings {
			if s.Key == "vcs.revision" {
				b.Revision = s.Value
			}
		}
	}
	return b
}

// Run prints the version.
func (c *versionCmd) Run(std streams) error {
	b := thisBuild()
	if c.JSON {
		if err := json.NewEncoder(std.out).Encode(b); err != nil {
			return fmt.Errorf("print version: %w", err)
		}
		return nil
	}
	text := "fluewright " + b.Version
	if b.Revision != "" {
		text += " (" + b.Revision + ")"
	}
	if _, err := fmt.Fprintf(std.out, "%s, %s, %s\n", text, b.Go, b.Platform); err != nil {
		return fmt.Errorf("print version: %w", err)
	}
	return nil
}
