package main

import (
	"github.com/grafana/grafana-foundation-sdk/go/bargauge"
	"github.com/grafana/grafana-foundation-sdk/go/cog"
	"github.com/grafana/grafana-foundation-sdk/go/common"
	"github.com/grafana/grafana-foundation-sdk/go/dashboard"
	"github.com/grafana/grafana-foundation-sdk/go/prometheus"
	"github.com/grafana/grafana-foundation-sdk/go/stat"
	"github.com/grafana/grafana-foundation-sdk/go/statetimeline"
	"github.com/grafana/grafana-foundation-sdk/go/table"
	"github.com/grafana/grafana-foundation-sdk/go/text"
	"github.com/grafana/grafana-foundation-sdk/go/timeseries"
)

// The colours: what needs somebody is red, what is doubtful orange, the rest is not coloured.
// Nothing is green: no panel may say that all is well.
const plain, doubtful, grave = "text", "orange", "red"

func source() common.DataSourceRef {
	return common.DataSourceRef{Type: cog.ToPtr("prometheus"), Uid: cog.ToPtr("${datasource}")}
}

// board is a dashboard with the choice of storage, and links to the others.
func board(uid, title, about string) *dashboard.DashboardBuilder {
	return dashboard.NewDashboardBuilder(title).
		Uid(uid).Description(about).Tags([]string{"fluewright"}).
		Readonly().Refresh("1m").Timezone("browser").
		Tooltip(dashboard.DashboardCursorSyncCrosshair).
		Link(dashboard.NewDashboardLinkBuilder("Other dashboards").Type(dashboard.DashboardLinkTypeDashboards).Tags([]string{"fluewright"}).IncludeVars(true)).
		WithVariable(dashboard.NewDatasourceVariableBuilder("datasource").Label("Storage").Type("prometheus"))
}

// choice is a variable whose values are those of a label.
func choice(name, label, query string) *dashboard.QueryVariableBuilder {
	return dashboard.NewQueryVariableBuilder(name).Label(label).Datasource(source()).
		Query(dashboard.StringOrMap{String: &query}).
		Refresh(dashboard.VariableRefreshOnTimeRangeChanged).Sort(dashboard.VariableSortAlphabeticalAsc)
}

func regions() *dashboard.QueryVariableBuilder {
	return choice("region", "Region", "label_values(fluewright:site:info, region)").Multi(true).IncludeAll(true).AllValue(".*")
}

// query is asked for a range, and its series are named by a legend.
func query(expr, legend string) *prometheus.DataqueryBuilder {
	return prometheus.NewDataqueryBuilder().Datasource(source()).Expr(expr).LegendFormat(legend).Range()
}

// now is asked for the present moment.
func now(expr, legend string) *prometheus.DataqueryBuilder {
	return prometheus.NewDataqueryBuilder().Datasource(source()).Expr(expr).LegendFormat(legend).Instant()
}

func rows(expr string) *prometheus.DataqueryBuilder {
	return now(expr, "").Format(prometheus.PromQueryFormatTable)
}

// from colours what is at or over each value.
func from(steps ...dashboard.Threshold) cog.Builder[dashboard.ThresholdsConfig] {
	return dashboard.NewThresholdsConfigBuilder().Mode(dashboard.ThresholdsModeAbsolute).
		Steps(append([]dashboard.Threshold{{Color: plain}}, steps...))
}

func at(value float64, color string) dashboard.Threshold {
	return dashboard.Threshold{Value: &value, Color: color}
}

func caution(content string, height uint32) *text.PanelBuilder {
	return text.NewPanelBuilder().Title("").Transparent(true).Mode(text.TextModeMarkdown).Content(content).Span(24).Height(height)
}

// number shows one, and says what it means that there is none.
func number(title, about, none string, q *prometheus.DataqueryBuilder) *stat.PanelBuilder {
	return stat.NewPanelBuilder().Title(title).Description(about).Datasource(source()).WithTarget(q).NoValue(none).
		Orientation(common.VizOrientationAuto).GraphMode(common.BigValueGraphModeNone).ColorMode(common.BigValueColorModeValue).
		ColorScheme(dashboard.NewFieldColorBuilder().Mode(dashboard.FieldColorModeIdThresholds)).
		Thresholds(from()).
		ReduceOptions(common.NewReduceDataOptionsBuilder().Calcs([]string{"lastNotNull"})).
		Height(4).Span(4)
}

// lines never joins over a gap: nobody knows what was in it.
func lines(title, about, unit string, q ...*prometheus.DataqueryBuilder) *timeseries.PanelBuilder {
	p := timeseries.NewPanelBuilder().Title(title).Description(about).Datasource(source()).Unit(unit).
		LineWidth(1).FillOpacity(0).ShowPoints(common.VisibilityModeNever).
		SpanNulls(common.BoolOrFloat64{Bool: cog.ToPtr(false)}).
		Legend(common.NewVizLegendOptionsBuilder().ShowLegend(true).DisplayMode(common.LegendDisplayModeList).Placement(common.LegendPlacementBottom)).
		Tooltip(common.NewVizTooltipOptionsBuilder().Mode(common.TooltipDisplayModeMulti).Sort(common.SortOrderDescending)).
		Height(9).Span(12)
	for _, one := range q {
		p.WithTarget(one)
	}
	return p
}

// stacked is lines on top of each other.
func stacked(title, about, unit string, q ...*prometheus.DataqueryBuilder) *timeseries.PanelBuilder {
	return lines(title, about, unit, q...).FillOpacity(40).
		Stacking(common.NewStackingConfigBuilder().Mode(common.StackingModeNormal).Group("A"))
}

// list is a table of the present moment, with its columns named, others hidden.
func list(title, about, none string, q *prometheus.DataqueryBuilder) *table.PanelBuilder {
	return table.NewPanelBuilder().Title(title).Description(about).Datasource(source()).WithTarget(q).NoValue(none).
		OverrideByName("Time", set("custom.hidden", true)).
		OverrideByName("site", set("links", []any{map[string]any{
			"title": "This site", "url": "/d/fluewright-site?var-site=${__value.raw}&var-datasource=${datasource}",
		}})).
		Height(9).Span(12)
}

// set returns properties of a field: names and values in turn.
func set(pairs ...any) (all []dashboard.DynamicConfigValue) {
	for i := 0; i < len(pairs); i += 2 {
		all = append(all, dashboard.DynamicConfigValue{Id: pairs[i].(string), Value: pairs[i+1]})
	}
	return all
}

// states is a band for each thing over time.
func states(title, about string, q *prometheus.DataqueryBuilder, words map[string][2]string) *statetimeline.PanelBuilder {
	options := map[string]dashboard.ValueMappingResult{}
	for value, word := range words {
		options[value] = dashboard.ValueMappingResult{Text: &word[0], Color: &word[1]}
	}
	return statetimeline.NewPanelBuilder().Title(title).Description(about).Datasource(source()).WithTarget(q).
		Mappings([]dashboard.ValueMapping{{ValueMap: &dashboard.ValueMap{Type: dashboard.MappingTypeValueToText, Options: options}}}).
		ColorScheme(dashboard.NewFieldColorBuilder().Mode(dashboard.FieldColorModeIdThresholds)).Thresholds(from()).
		Tooltip(common.NewVizTooltipOptionsBuilder().Mode(common.TooltipDisplayModeSingle).Sort(common.SortOrderNone)).
		ShowValue(common.VisibilityModeNever).RowHeight(0.8).FillOpacity(80).
		Legend(common.NewVizLegendOptionsBuilder().ShowLegend(true).DisplayMode(common.LegendDisplayModeList).Placement(common.LegendPlacementBottom)).
		Height(9).Span(12)
}

// bars compares things at the present moment.
func bars(title, about, unit, none string, q *prometheus.DataqueryBuilder) *bargauge.PanelBuilder {
	return bargauge.NewPanelBuilder().Title(title).Description(about).Datasource(source()).WithTarget(q).NoValue(none).
		Unit(unit).Min(0).Orientation(common.VizOrientationHorizontal).DisplayMode(common.BarGaugeDisplayModeBasic).
		ReduceOptions(common.NewReduceDataOptionsBuilder().Calcs([]string{"lastNotNull"})).
		ColorScheme(dashboard.NewFieldColorBuilder().Mode(dashboard.FieldColorModeIdThresholds)).
		Thresholds(from()).
		Height(9).Span(12)
}
