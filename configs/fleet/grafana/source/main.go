// Command dashboards writes Grafana's dashboards of a service desk as JSON, into the folder
// that is given. It is a module of its own: nothing of it goes into the product.
package main

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"path/filepath"

	"github.com/grafana/grafana-foundation-sdk/go/bargauge"
	"github.com/grafana/grafana-foundation-sdk/go/cog"
	"github.com/grafana/grafana-foundation-sdk/go/cog/variants"
	"github.com/grafana/grafana-foundation-sdk/go/dashboard"
	"github.com/grafana/grafana-foundation-sdk/go/prometheus"
	"github.com/grafana/grafana-foundation-sdk/go/stat"
	"github.com/grafana/grafana-foundation-sdk/go/statetimeline"
	"github.com/grafana/grafana-foundation-sdk/go/table"
	"github.com/grafana/grafana-foundation-sdk/go/text"
	"github.com/grafana/grafana-foundation-sdk/go/timeseries"
)

func main() {
	if len(os.Args) != 2 {
		fmt.Fprintln(os.Stderr, "usage: dashboards FOLDER")
		os.Exit(2)
	}
	// What is not registered is not checked.
	cog.NewRuntime().RegisterDataqueryVariant(prometheus.VariantConfig())
	for _, kind := range []variants.PanelcfgConfig{
		bargauge.VariantConfig(), stat.VariantConfig(), statetimeline.VariantConfig(), table.VariantConfig(), text.VariantConfig(), timeseries.VariantConfig(),
	} {
		cog.NewRuntime().RegisterPanelcfgVariant(kind)
	}
	for name, make := range map[string]func() *dashboard.DashboardBuilder{"fleet": fleet, "site": oneSite, "commissioning": commissioning} {
		if err := write(filepath.Join(os.Args[1], name+".json"), make()); err != nil {
			fmt.Fprintln(os.Stderr, "dashboards:", err)
			os.Exit(1)
		}
	}
}

// write builds a dashboard, reads it back by Grafana's schema, strictly, and writes it.
func write(file string, b *dashboard.DashboardBuilder) error {
	built, err := b.Build()
	if err != nil {
		return fmt.Errorf("%s: %w", file, err)
	}
	for i := range built.Panels {
		if p := built.Panels[i].Panel; p != nil {
			id := uint32(i + 1)
			p.Id = &id
		}
	}
	text, err := json.MarshalIndent(built, "", "  ")
	if err != nil {
		return fmt.Errorf("%s: %w", file, err)
	}
	var back dashboard.Dashboard
	for _, check := range []func() error{func() error { return back.UnmarshalJSONStrict(text) }, func() error { return back.Validate() }} {
		err := check()
		// The library may return an error that lists none.
		if faults := cog.BuildErrors(nil); errors.As(err, &faults) && len(faults) == 0 {
			err = nil
		}
		if err != nil {
			return fmt.Errorf("%s is not as the schema has it: %w", file, err)
		}
	}
	if before, err := os.ReadFile(file); err == nil && bytes.Equal(before, append(text, '\n')) {
		return nil
	}
	return os.WriteFile(file, append(text, '\n'), 0o644)
}
