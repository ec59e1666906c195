package main

import "github.com/grafana/grafana-foundation-sdk/go/dashboard"

func oneSite() *dashboard.DashboardBuilder {
	return board("fluewright-site", "Furnaces: one site", "What one site last said, and its course.").
		Time("now-24h", "now").
		WithVariable(choice("site", "Site", "label_values(fluewright:site:info, site)")).
		WithPanel(caution("What stands here is what **$site** last said; see its last word first. A line that ends says nothing about the fire. Nothing is done from here: the monitor observes, and the person at the furnace acts. "+
			"Temperatures are in °C, drafts in Pa (1 Pa is 0.004 in. w.c.).", 3)).
		WithPanel(number("Last word", "How long ago something came. Over ten minutes the site is silent, and all else here is old.", "never, or the desk's rules do not run",
			now(`time() - fluewright:site_seen:timestamp_seconds{site="$site"}`, "")).Unit("dtdurations").Thresholds(from(at(600, grave)))).
		WithPanel(number("Alarms that stand", "High, medium and low; of a silent site those of its last word.", rulesStopped,
			now(`count(fluewright:alarm_standing:timestamp_seconds{site="$site"})`+whileJudged, "")).Thresholds(from(at(1, grave)))).
		WithPanel(number("Phase", "Of the burn, as the monitor last judged it.", "not known now",
			now(`max by (phase) (fluewright_phase{site="$site"}) == 1`, "{{phase}}")).TextMode("name")).
		WithPanel(number("Cannot be judged", "Alarms that cannot be judged now: that they are not raised means nothing.", "not known now",
			now(`count(max by (alarm, channel) (fluewright_alarm_judged{site="$site"}) == 0) or max(fluewright_alarm_judged{site="$site"} * 0)`, "")).Thresholds(from(at(1, doubtful)))).
		WithPanel(number("Commissioned", "When the last whole commissioning ended.", "never, or not known now",
			now(`max(last_over_time(fluewright_commissioning_timestamp_seconds{site="$site"}[$__range])) * 1000`, "")).Unit("dateTimeAsIso")).
		WithPanel(number("Draft of the week", "Of the commissioned one at an equal drive, the lesser of burning and out.", "cannot be compared",
			now(`min(last_over_time(fluewright:draft_share:median7d{site="$site"}[1h]))`, "")).Unit("percentunit").Decimals(0)).
		WithPanel(list("Alarms that stand", "Since when the site last said so.", "none, as far as the site is heard",
			rows(`sort_desc(fluewright:alarm_standing:timestamp_seconds{site="$site"}) * 1000`)).
			OverrideByName("Value", set("displayName", "last said", "unit", "dateTimeFromNow"))).
		WithPanel(list("Alarms that cannot be judged", "That one of these is not raised means nothing.", "none, as far as the site is heard",
			rows(`max by (alarm, channel) (fluewright_alarm_judged{site="$site"}) == 0`)).
			OverrideByName("Value", set("custom.hidden", true))).
		WithPanel(states("Alarms over time", "Raised, or not. Where nothing is drawn nobody knows.",
			query(`max by (alarm, channel) (fluewright_alarm_active{site="$site"})`, "{{alarm}} {{channel}}"),
			map[string][2]string{"0": {"not raised", plain}, "1": {"raised", grave}})).
		WithPanel(lines("Temperatures", "Readings that can be used. A gap is no reading.", "celsius",
			query(`max by (channel) (fluewright_temperature_celsius{site="$site"})`, "{{channel}}"))).
		WithPanel(lines("Draft", "Positive when the chimney pulls. Under 0 flue gas can come into the house. The dashed lines are the commissioning's, fire burning and out.", "pressurepa",
			query(`max(fluewright_draft_pascals{site="$site"})`, "draft"),
			query(`max(fluewright_draft_average_pascals{site="$site"})`, "averaged against wind"),
			query(`max by (fire) (fluewright_commissioned_draft_pascals{site="$site"})`, "commissioned, {{fire}}")).
			OverrideByRegexp("commissioned.*", set("custom.lineStyle", map[string]any{"fill": "dash", "dash": []int{8, 8}}))).
		WithPanel(states("Phase over time", "What the monitor saw the fire do. Unknown: nobody saw it.",
			query(`max by (phase) (fluewright_phase{site="$site"})`, "{{phase}}"),
			map[string][2]string{"0": {"no", "transparent"}, "1": {"yes", "blue"}})).
		WithPanel(states("Readings", "Good, or not good: suspect, stale, at fault or absent.",
			query(`max by (channel) (fluewright_channel_quality{site="$site",quality="good"})`, "{{channel}}"),
			map[string][2]string{"0": {"not good", doubtful}, "1": {"good", plain}})).
		WithPanel(stacked("Hours of each phase in a day", "The day that ends then. Time that a line was away is in it.", "h",
			query(`max by (phase) (increase(fluewright_phase_seconds_total{site="$site"}[1d])) / 3600`, "{{phase}}"))).
		WithPanel(lines("Draft against the commissioned one", "At an equal drive. Points of the moment, and the median of a week.", "percentunit",
			query(`max by (fire) (fluewright_draft_commissioned_ratio{site="$site"})`, "now, {{fire}}"),
			query(`max by (fire) (last_over_time(fluewright:draft_share:median7d{site="$site"}[1h]))`, "week, {{fire}}"))).
		WithRow(dashboard.NewRowBuilder("The monitor")).
		WithPanel(lines("Looks at chips that gave nothing", "Faults an hour, by chip and reason.", "none",
			query(`sum by (sensor, reason) (increase(fluewright_sensor_read_errors_total{site="$site"}[1h]))`, "{{sensor}}: {{reason}}"))).
		WithPanel(states("Clock, broker, history", "What the monitor needs to be heard and believed.",
			query(`label_replace(max(fluewright_clock_synchronized{site="$site"}), "what", "clock is right", "", "") or label_replace(max(fluewright_mqtt_connected{site="$site"}), "what", "broker is reached", "", "") or label_replace(max(fluewright_history_state{site="$site",state="fine"}), "what", "history is kept", "", "")`, "{{what}}"),
			map[string][2]string{"0": {"no", doubtful}, "1": {"yes", plain}})).
		WithPanel(list("What runs there", "Versions, and which chip sits where.", "not known now",
			rows(`max by (sensor, chip, bus, address) (fluewright_sensor_info{site="$site"})`)).
			OverrideByName("Value", set("custom.hidden", true))).
		WithPanel(lines("Oldest that a receiver lacks", "How long ago the oldest row was that a receiver of remote write does not have.", "s",
			query(`time() - max by (destination) (fluewright_remote_write_oldest_timestamp_seconds{site="$site"})`, "{{destination}}")))
}
