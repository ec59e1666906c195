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

// complete numbers panels and names their queries, and leaves out what the library sets by
// itself and Grafana no longer has: off is how it is without.
func complete(b *dashboard.Dashboard) {
	for i := range b.Panels {
		id := uint32(i + 1)
		if row := b.Panels[i].RowPanel; row != nil {
			row.Id = id
		}
		p := b.Panels[i].Panel
		if p == nil {
			continue
		}
		p.Id = &id
		for n := range p.Targets {
			query := p.Targets[n].(prometheus.Dataquery)
			query.RefId = cog.ToPtr(string(rune('A' + n)))
			p.Targets[n] = query
		}
		if options, ok := p.Options.(*table.Options); ok {
			options.Footer = nil
		}
	}
	for i := range b.Templating.List {
		v := &b.Templating.List[i]
		v.Auto, v.AutoMin, v.AutoCount = nil, nil, nil
	}
}

// write builds a dashboard, reads it back by Grafana's schema, strictly, and writes it.
func write(file string, b *dashboard.DashboardBuilder) error {
	built, err := b.Build()
	if err != nil {
		return fmt.Errorf("%s: %w", file, err)
	}
	complete(&built)
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
