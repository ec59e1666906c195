package main

import "github.com/grafana/grafana-foundation-sdk/go/dashboard"

// ofRegion is put behind an expression with the label site: it gives it the region, and
// leaves the chosen ones.
const ofRegion = ` * on (site) group_left (region) fluewright:site:info{region=~"$region"}`

// whileJudged is what a count is where there is nothing to count: 0 while the desk's rules are
// evaluated, and nothing when they are not.
const whileJudged = ` or fluewright:memory:alive * 0`

const rulesStopped = "the desk's rules do not run"

func fleet() *dashboard.DashboardBuilder {
	return board("fluewright-fleet", "Furnaces: all sites", "What the sites of a service desk last said.").
		Time("now-24h", "now").
		WithVariable(regions()).
		WithPanel(caution("What stands here is what the sites **last said**. A site that is silent is not a quiet one: its fire may burn, and an alarm that it raised may stand. "+
			"That nothing is red does not say that all is well. The person at the furnace knows more than this page: telephone. Temperatures are in °C, drafts in Pa (1 Pa is 0.004 in. w.c.).", 3)).
		WithPanel(number("High alarms that stand", "Raised and not ended by the monitor itself, silent sites among them.", rulesStopped,
			now(`count(fluewright:alarm_standing:timestamp_seconds{priority="high"}`+ofRegion+`)`+whileJudged, "")).Thresholds(from(at(1, grave)))).
		WithPanel(number("Medium alarms that stand", "Raised and not ended by the monitor itself, silent sites among them.", rulesStopped,
			now(`count(fluewright:alarm_standing:timestamp_seconds{priority="medium"}`+ofRegion+`)`+whileJudged, "")).Thresholds(from(at(1, doubtful)))).
		WithPanel(number("Silent sites", "Nothing has come for ten minutes. Nobody knows how their fires burn.", rulesStopped,
			now(`count((time() - fluewright:site_seen:timestamp_seconds > 600)`+ofRegion+`)`+whileJudged, "")).Thresholds(from(at(1, grave)))).
		WithPanel(number("Sites that are heard", "Something has come within ten minutes.", rulesStopped,
			now(`count((time() - fluewright:site_seen:timestamp_seconds <= 600)`+ofRegion+`)`+whileJudged, ""))).
		WithPanel(number("Cannot judge a hazard", "Sites that are heard and cannot judge one of their high alarms: that it is not raised means nothing there.", rulesStopped,
			now(`count(count by (site) ((fluewright_alarm_judged == 0) and on (site, alarm, channel) fluewright_alarm_active{priority="high"})`+ofRegion+`)`+whileJudged, "")).Thresholds(from(at(1, doubtful)))).
		WithPanel(number("Rules last evaluated", "Longer than a minute: what stands here is old.", rulesStopped,
			now(`time() - timestamp(fluewright:memory:alive)`, "")).Unit("s").Thresholds(from(at(60, doubtful), at(180, grave)))).
		WithPanel(list("Alarms that stand", "Those of silent sites too, since when the site last said so. The monitor itself ends an alarm; nobody here does.", "none, as far as the sites are heard",
			rows(`sort_desc(fluewright:alarm_standing:timestamp_seconds{priority=~"high|medium"}`+ofRegion+`) * 1000`)).
			OverrideByName("Value", set("displayName", "last said", "unit", "dateTimeFromNow")).
			OverrideByName("priority", set("mappings", []any{map[string]any{"type": "value", "options": map[string]any{"high": map[string]any{"color": grave}}}}, "custom.cellOptions", map[string]any{"type": "color-text"}))).
		WithPanel(list("Silent sites", "The last word of each. Ask the person at the furnace to look at it and at the monitor.", "none",
			rows(`sort_desc((time() - fluewright:site_seen:timestamp_seconds > 600)`+ofRegion+`)`)).
			OverrideByName("Value", set("displayName", "silent for", "unit", "dtdurations"))).
		WithPanel(stacked("What the fires do", "Sites by phase of the burn. Unknown: nobody sees the fire. A site that falls silent leaves the picture.", "none",
			query(`sum by (phase) (fluewright_phase`+ofRegion+`)`, "{{phase}}"))).
		WithPanel(lines("Silent sites by region", "Many at once: electricity, a provider, or the desk's own receiver.", "none",
			query(`count by (region) ((time() - fluewright:site_seen:timestamp_seconds > 600)`+ofRegion+`)`+whileJudged, "{{region}}"))).
		WithRow(dashboard.NewRowBuilder("The week: chimneys and fires")).
		WithPanel(list("Draft against the commissioned one, least first", "Median of a week at an equal drive; fire burning, or out. 15 % less is what a season's start calls a loss. A regulator that still holds the draft hides a narrowing flue: that a chimney is not here does not say that it is clean.", "nothing can be compared: no site is commissioned, or none has burned",
			rows(`sort(bottomk(25, last_over_time(fluewright:draft_share:median7d[1h])`+ofRegion+`))`)).
			OverrideByName("Value", set("displayName", "of the commissioned draft", "unit", "percentunit", "decimals", 0))).
		WithPanel(list("Hours of smouldering in a week, most first", "Wood that smoulders leaves tar in the chimney. Of a silent site what it last came to.", "nothing is counted yet",
			rows(`sort_desc(topk(25, last_over_time(fluewright:smoulder_hours:7d[2h])`+ofRegion+`))`)).
			OverrideByName("Value", set("displayName", "smouldering", "unit", "h", "decimals", 0))).
		WithPanel(bars("Spills by outdoor temperature", "Times that the draft turned, for 1000 hours of fire in that weather, °C. Few hours of fire make a wild number.", "none", "no spills were counted in hours of fire",
			now(`1000 * sum by (outdoor) (last_over_time(fluewright:region_spillages:7d{region=~"$region"}[2h])) / (sum by (outdoor) (last_over_time(fluewright:region_fire_hours:7d{region=~"$region"}[2h])) > 0)`, "{{outdoor}}"))).
		WithPanel(bars("Spills by region", "Times that the draft turned in a week, for 1000 hours of fire.", "none", "no spills were counted in hours of fire",
			now(`1000 * sum by (region) (last_over_time(fluewright:region_spillages:7d{region=~"$region"}[2h])) / (sum by (region) (last_over_time(fluewright:region_fire_hours:7d{region=~"$region"}[2h])) > 0)`, "{{region}}"))).
		WithRow(dashboard.NewRowBuilder("The monitors")).
		WithPanel(bars("What the desk was alerted to", "Alerts that stand, alarms of furnaces among them.", "none", "none stands, as far as the rules run",
			now(`count by (alertname) (ALERTS{alertstate="firing",alertname=~"Fluewright.+",alertname!="FluewrightDeskAlive"})`, "{{alertname}}"))).
		WithPanel(bars("What runs", "Sites that are heard, by the version of their program.", "none", "no site is heard",
			now(`count by (version) (fluewright_build_info`+ofRegion+`)`, "{{version}}")))
}
