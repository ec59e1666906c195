package main

import "github.com/grafana/grafana-foundation-sdk/go/dashboard"

func commissioning() *dashboard.DashboardBuilder {
	return board("fluewright-commissioning", "Furnaces: commissioning", "How sites were handed over, and how their chimneys draw since.").
		Time("now-90d", "now").Refresh("15m").
		WithVariable(regions()).
		WithPanel(caution("A commissioning that passed says how the chimney drew **on that day**. It is no inspection, and no leave from a licensed person. Only sites that are heard are counted here; a site that is silent is not one that has passed.", 2)).
		WithPanel(number("Heard", "Sites that something has come from within five minutes.", "no site is heard",
			now(`count(count by (site) (fluewright_site_info)`+ofRegion+`)`, ""))).
		WithPanel(number("Commissioned", "Of the sites that are heard, those with a whole commissioning on record, whatever it came to.", "none",
			now(`count(count by (site) (fluewright_commissioning_info)`+ofRegion+`)`, ""))).
		WithPanel(number("Never commissioned", "Nobody has proved their draft and their regulator.", "not known now",
			now(`count((max by (site) (fluewright_site_info) unless on (site) fluewright_commissioning_info)`+ofRegion+`)`+whileJudged, "")).Thresholds(from(at(1, doubtful)))).
		WithPanel(number("Failed, stopped or not complete", "Their installers have to go back.", "not known now",
			now(`count(max by (site) (fluewright_commissioning_info{result=~"fail|stop|not-complete"})`+ofRegion+`)`+whileJudged, "")).Thresholds(from(at(1, grave)))).
		WithPanel(number("Draw less than they did", "Sites whose week's draft is under 85 % of the commissioned one.", "nothing can be compared",
			now(`count(min by (site) (last_over_time(fluewright:draft_share:median7d[1h]) < 0.85)`+ofRegion+`) or count(last_over_time(fluewright:draft_share:median7d[1h])) * 0`, "")).Thresholds(from(at(1, doubtful)))).
		WithPanel(number("Cannot be compared", "Commissioned, and no week's draft against it: no fire yet, no sensor outdoors for a cold one, or no regulator's mark on record.", "not known now",
			now(`count((max by (site) (fluewright_commissioning_info) unless on (site) last_over_time(fluewright:draft_share:median7d[1h]))`+ofRegion+`)`+whileJudged, "")).Thresholds(from(at(1, doubtful)))).
		WithPanel(bars("What commissionings came to", "Sites that are heard, by the result of their last whole commissioning.", "none", "no site is commissioned",
			now(`count by (result) (max by (site, result) (fluewright_commissioning_info)`+ofRegion+`)`, "{{result}}"))).
		WithPanel(bars("How long ago", "Days since the commissioning, the longest first.", "d", "no site is commissioned",
			now(`sort_desc(topk(15, (time() - max by (site) (fluewright_commissioning_timestamp_seconds))`+ofRegion+`)) / 86400`, "{{site}}"))).
		WithPanel(list("Not in order", "Sites whose last commissioning did not pass.", "none, as far as sites are heard",
			rows(`max by (site, result, number) (fluewright_commissioning_info{result=~"fail|stop|not-complete"})`+ofRegion)).
			OverrideByName("Value", set("custom.hidden", true))).
		WithPanel(list("Never commissioned", "A slow loss of draft cannot be told there.", "none, as far as sites are heard",
			rows(`(max by (site) (fluewright_site_info) unless on (site) fluewright_commissioning_info)`+ofRegion)).
			OverrideByName("Value", set("custom.hidden", true))).
		WithPanel(list("Commissioned draft", "Pa, the least first; fire burning at the mark that was set, or out. The appliance's maker says what it has to be.", "no site is commissioned",
			rows(`sort(max by (site, fire) (fluewright_commissioned_draft_pascals)`+ofRegion+`)`)).
			OverrideByName("Value", set("displayName", "draft", "unit", "pressurepa", "decimals", 1))).
		WithPanel(lines("Draft since, over the fleet", "Of the commissioned one, fire burning: half of the sites draw between the outer lines. A fall of all of them is weather or a change of the program, not soot.", "percentunit",
			query(`quantile(0.25, last_over_time(fluewright:draft_share:median7d{fire="burning"}[1h])`+ofRegion+`)`, "a quarter draws less"),
			query(`quantile(0.5, last_over_time(fluewright:draft_share:median7d{fire="burning"}[1h])`+ofRegion+`)`, "median"),
			query(`quantile(0.75, last_over_time(fluewright:draft_share:median7d{fire="burning"}[1h])`+ofRegion+`)`, "a quarter draws more")))
}
