package main

import (
	"encoding/json"
	"fmt"
	"io"
	"maps"
	"slices"
	"strings"

	"fluewright/daemon/judge/night"
	"fluewright/daemon/judge/score"
)

// report is what -json writes.
type report struct {
	Seeds     string                `json:"seeds"`
	Judging   bool                  `json:"judging"`
	Subject   string                `json:"subject"`
	Judged    *score.Sum            `json:"judged"`
	Threshold *score.Sum            `json:"threshold"`
	Kinds     map[string]*score.Sum `json:"kinds"`
}

func (o *options) report(results []result) report {
	kinds := map[string]*score.Sum{}
	for _, g := range byKind(results) {
		kinds[g[0].judged.World+"/"+g[0].judged.Kind] = score.Add(judged(g))
	}
	r := report{
		Judging: o.judge, Subject: "the engine",
		Judged: score.Add(judged(results)), Threshold: score.Add(thresholds(results)), Kinds: kinds,
	}
	if o.command != "" {
		r.Subject = o.command
	}
	first, last := results[0].judged.Seed, results[len(results)-1].judged.Seed
	r.Seeds = fmt.Sprintf("%d to %d", first, last)
	return r
}

func judged(results []result) []score.Night {
	var all []score.Night
	for _, r := range results {
		all = append(all, r.judged)
	}
	return all
}

func thresholds(results []result) []score.Night {
	var all []score.Night
	for _, r := range results {
		all = append(all, r.threshold)
	}
	return all
}

// byKind cuts the results where the kind changes.
func byKind(results []result) [][]result {
	var groups [][]result
	for i, r := range results {
		if i == 0 || r.judged.World != results[i-1].judged.World || r.judged.Kind != results[i-1].judged.Kind {
			groups = append(groups, nil)
		}
		groups[len(groups)-1] = append(groups[len(groups)-1], r)
	}
	return groups
}

func (o *options) writeJSON(out io.Writer, results []result) error {
	e := json.NewEncoder(out)
	e.SetIndent("", "  ")
	return e.Encode(o.report(results))
}

func (o *options) writeMarkdown(out io.Writer, results []result) error {
	r := o.report(results)
	var b strings.Builder
	use := "seeds for tuning"
	if o.judge {
		use = "seeds kept for judging (-judge)"
	}
	fmt.Fprintf(&b, "Judged: %s. %d nights of %d kinds, %s, %s; %.0f h, of which %.0f h burning; %d readings.\n\n",
		r.Subject, r.Judged.Nights, len(r.Kinds), r.Seeds, use, r.Judged.Hours, r.Judged.Burning, r.Judged.Rows)
	writeTable(&b, r.Judged, r.Threshold)
	writeCauses(&b, r.Judged, r.Threshold)
	if o.verbose {
		writeWhat(&b, r.Judged)
		writeKinds(&b, results)
		writeFalse(&b, results)
		fmt.Fprintf(&b, "\nRules:\n%s", score.Rules)
	}
	_, err := io.WriteString(out, b.String())
	return err
}

// writeTable writes what must be reached.
func writeTable(b *strings.Builder, j, t *score.Sum) {
	row := func(what, goal, judged, threshold string) {
		fmt.Fprintf(b, "| %s | %s | %s | %s |\n", what, goal, judged, threshold)
	}
	row("", "to reach", "judged", "limit − 30 K")
	row("---", "---", "---", "---")
	row("limit crossings foreseen", "98 %", share(j.All.Share), share(t.All.Share))
	row("lead, median", "5 min and 5 ×", minutes(j.All.Median)+times(j.All.Median, t.All.Median), minutes(t.All.Median))
	row("lead, shortest tenth", "", minutes(j.All.Tenth), minutes(t.All.Tenth))
	row("cause right", "85 %", share(j.Cause), "")
	row("cause right, fine and dry wood as one", "", share(j.CauseLoose), "")
	for _, h := range []struct {
		hazard     night.Hazard
		what, goal string
	}{
		{night.ChimneyFire, "chimney fires named within 60 s", "95 %"},
		{night.Spillage, "spillage told within 90 s", "100 %"},
		{night.SensorDead, "dead sensors told within 30 s", "all"},
		{night.SensorSilent, "sensors that read wrong told within 20 min", "90 %"},
		{night.BlowerStopped, "blower stopped told within 20 min", ""},
	} {
		d := j.Hazards[h.hazard]
		if d == nil {
			continue
		}
		text := fmt.Sprintf("%s, median %.0f s", share(d.Share), d.Median)
		if d.Instead > 0 {
			text += fmt.Sprintf("; %d with a false high alarm", d.Instead)
		}
		row(h.what, h.goal, text, "")
	}
	row("false high-priority alarms per 1,000 h burning", "1", rate(j, j.FalseAll), rate(t, t.FalseAll))
	for _, name := range slices.Sorted(maps.Keys(j.False)) {
		row("… "+name, "", rate(j, j.False[name]), "")
	}
	row("runaways in nights that call for none", "", counted(j.LegitRunaways), counted(t.LegitRunaways))
	row("sensors accused wrongly per 1,000 h burning", "", rate(j, j.AccusedAll), "")
}

// writeCauses writes how the crossings of each cause were foreseen and explained.
func writeCauses(b *strings.Builder, j, t *score.Sum) {
	if len(j.ByCause) == 0 {
		return
	}
	b.WriteString("\n| cause of the crossing | foreseen | lead: median, tenth | limit − 30 K | causes given |\n|---|---|---|---|---|\n")
	for _, cause := range slices.Sorted(maps.Keys(j.ByCause)) {
		f, fixed := j.ByCause[cause], t.ByCause[cause]
		fmt.Fprintf(b, "| %s | %s | %s, %s | %s, %s | %s |\n", cause, share(f.Share), minutes(f.Median), minutes(f.Tenth),
			share(fixed.Share), minutes(fixed.Median), counted(j.Confusion[cause]))
	}
}

// writeWhat writes how each sort of hazard was told.
func writeWhat(b *strings.Builder, s *score.Sum) {
	b.WriteString("\n| hazard | told in time | median delay | false high alarm instead |\n|---|---|---|---|\n")
	for _, what := range slices.Sorted(maps.Keys(s.ByWhat)) {
		d := s.ByWhat[what]
		fmt.Fprintf(b, "| %s | %s | %.0f s | %d |\n", what, share(d.Share), d.Median, d.Instead)
	}
}

// writeKinds writes a line for each kind.
func writeKinds(b *strings.Builder, results []result) {
	b.WriteString("\n| kind | h | crossings foreseen | lead | cause | told in time | false high | accused | raised |\n|---|---|---|---|---|---|---|---|---|\n")
	for _, g := range byKind(results) {
		s := score.Add(judged(g))
		kind := g[0].judged.World + "/" + g[0].judged.Kind
		if g[0].judged.Legit {
			kind += " (legit)"
		}
		crossings, lead, cause := "", "", ""
		if s.All.Of > 0 {
			crossings, lead, cause = share(s.All.Share), minutes(s.All.Median), share(s.CauseLoose)
		}
		var told []string
		for _, h := range slices.Sorted(maps.Keys(s.Hazards)) {
			told = append(told, fmt.Sprintf("%s %d/%d, %.0f s", h, s.Hazards[h].Got, s.Hazards[h].Of, s.Hazards[h].Median))
		}
		fmt.Fprintf(b, "| %s | %.0f | %s | %s | %s | %s | %s | %s | %s |\n", kind, s.Burning, crossings, lead, cause,
			strings.Join(told, "; "), counted(s.False), counted(s.Accused), counted(s.Raised))
	}
}

// writeFalse names the nights of the false alarms, and of the crossings that were not
// foreseen, so that they can be looked at.
func writeFalse(b *strings.Builder, results []result) {
	b.WriteString("\nTo look at with -night:\n\n")
	for _, r := range results {
		n := r.judged
		id := fmt.Sprintf("%s/%s/%d", n.World, n.Kind, n.Seed)
		for _, f := range n.False {
			fmt.Fprintf(b, "* %s: false %s at %v\n", id, called(f), f.At)
		}
		for _, a := range n.Accused {
			fmt.Fprintf(b, "* %s: wrongly %s at %v\n", id, called(a), a.At)
		}
		for _, c := range n.Crossings {
			if !c.Foreseen {
				fmt.Fprintf(b, "* %s: %s passed at %v, not foreseen (%s)\n", id, c.Channel, c.At, c.Cause)
			}
		}
		for _, d := range n.Detections {
			if !d.Seen {
				fmt.Fprintf(b, "* %s: %s (%s) at %v, not told in time\n", id, d.Hazard, d.What, d.From)
			}
		}
	}
}

func called(s score.Said) string {
	name := string(s.Alarm)
	if c := s.Channel.String(); c != "unknown" {
		name += "/" + c
	}
	return name
}

func share(s score.Share) string {
	if s.Of == 0 {
		return "none"
	}
	return fmt.Sprintf("%.1f %% (%d of %d)", s.Percent(), s.Got, s.Of)
}

func minutes(seconds float64) string { return fmt.Sprintf("%.1f min", score.Minutes(seconds)) }

func times(a, b float64) string {
	if b == 0 {
		return ""
	}
	return fmt.Sprintf(" (%.1f ×)", a/b)
}

func rate(s *score.Sum, count int) string {
	return fmt.Sprintf("%.2f (%d)", s.PerThousand(count), count)
}

func counted(counts map[string]int) string {
	var parts []string
	for _, name := range slices.Sorted(maps.Keys(counts)) {
		parts = append(parts, fmt.Sprintf("%s %d", name, counts[name]))
	}
	if len(parts) == 0 {
		return "none"
	}
	return strings.Join(parts, ", ")
}
