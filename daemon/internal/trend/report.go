package trend

import (
	"bytes"
	"context"
	"embed"
	"encoding/json"
	"fmt"
	"html/template"
	"io"
	"slices"
	"time"

	"fluewright/analysis/burn"
	"fluewright/analysis/frame"
	"fluewright/daemon/internal/message"
	"fluewright/daemon/internal/panel"
)

//go:embed report.html
var reportFile embed.FS

var report = template.Must(template.ParseFS(reportFile, "report.html"))

// view is the report as the template takes it: words only, no decisions left.
type view struct {
	Site, From, To, Zone, Version string
	Warnings                      []string
	Figures                       []figure
	Pictures                      []drawing
	Alarms                        []alarmView
	Going                         string // of a burn that has not ended
	Burns                         []burnView
	Notices                       []noticeView
	Runs                          []runView
	Configurations                []textView
}

type (
	figure    struct{ Name, Value string }
	alarmView struct {
		Name, Priority, Message, When, Action string
		Causes                                []message.CauseLine
	}
	burnView struct {
		No, Loads                                                 int64
		Start, Lasted, Kind, Flue, Draft, Clean, Smoulder, Stands string
	}
	noticeView struct{ Time, What string }
	runView    struct{ From, To, Software, Configuration, Time string }
	textView   struct{ Name, Text string }
	drawing    struct {
		Class string
		SVG   template.HTML
	}
)

// sizes are the pictures that a report holds: for a phone, a screen and paper.
var sizes = []struct {
	class  string
	width  int
	scheme panel.Scheme
}{{"narrow", 376, panel.Auto}, {"wide", 1176, panel.Auto}, {"paper", 680, panel.Print}}

// WriteReport writes a window as one HTML page that needs nothing else.
func WriteReport(ctx context.Context, out io.Writer, a History, s Site, w Window, channels [frame.Count]bool, version string) error {
	r := reporter{a: a, s: s, w: w, view: view{
		Site: s.Config.Site.Name, From: s.long(w.From), To: s.long(w.To), Zone: w.From.In(s.Zone).Format("MST"), Version: version,
	}}
	if end := w.To.In(s.Zone).Format("MST"); end != r.view.Zone {
		r.view.Zone += ", then " + end
	}
	if s.Assumed != "" {
		r.view.Warnings = append(r.view.Warnings, s.Assumed)
	}
	for _, part := range []func(context.Context) error{r.runs, r.burns, r.alarms, r.notices, func(ctx context.Context) error { return r.pictures(ctx, channels) }} {
		if err := part(ctx); err != nil {
			return err
		}
	}
	var page bytes.Buffer
	if err := report.ExecuteTemplate(&page, "report", r.view); err != nil {
		return fmt.Errorf("write report: %w", err)
	}
	if _, err := page.WriteTo(out); err != nil {
		return fmt.Errorf("write report: %w", err)
	}
	return nil
}

func (s *Site) long(t time.Time) string { return t.In(s.Zone).Format("Mon 2 Jan 2006 15:04") }

func (s *Site) short(t time.Time) string { return t.In(s.Zone).Format("2006-01-02 15:04") }

type reporter struct {
	a     History
	s     Site
	w     Window
	view  view
	bands []panel.Band
}

func (r *reporter) figure(name, value string) {
	r.view.Figures = append(r.view.Figures, figure{name, value})
}

// runs tells which program ran with which configuration, and when none did.
func (r *reporter) runs(ctx context.Context) error {
	boots, err := r.a.Boots(ctx, r.w.From, r.w.To)
	if err != nil {
		return err
	}
	names := map[string]string{}
	unsure, watched := false, time.Duration(0)
	for _, b := range boots {
		from, to := later(b.From, r.w.From), earlier(b.To, r.w.To)
		watched += to.Sub(from)
		if names[b.Configuration] == "" && b.Configuration != "" {
			name := string(rune('A' + min(len(names), 25)))
			names[b.Configuration] = name
			r.view.Configurations = append(r.view.Configurations, textView{name, b.Configuration})
		}
		end := "after this window"
		if !b.To.After(r.w.To) {
			end = r.s.short(b.To)
		}
		v := runView{r.s.short(b.From), end, b.Software, names[b.Configuration], "synchronised"}
		if v.Configuration == "" {
			v.Configuration = "not kept"
		}
		if !b.Sure {
			v.Time, unsure = "estimated", true
		}
		r.view.Runs = append(r.view.Runs, v)
	}
	if unsure {
		r.view.Warnings = append(r.view.Warnings, "The clock was not synchronised during part of this: times there are estimates.")
	}
	if n := r.a.Unreadable(); n > 0 {
		r.view.Warnings = append(r.view.Warnings, fmt.Sprintf("Pieces of the history are damaged and left out: %d.", n))
	}
	only, err := r.a.ByMinuteOnly(ctx, r.w.From, r.w.To)
	if err != nil {
		return err
	}
	if only > 0 {
		r.view.Warnings = append(r.view.Warnings, fmt.Sprintf("Of %s there are sums by the minute alone.", Lasted(only.Seconds())))
	}
	whole := r.w.To.Sub(r.w.From)
	if missing := whole - watched; missing >= time.Minute {
		r.view.Warnings = append(r.view.Warnings, fmt.Sprintf("The monitor did not run for %s of this time: nothing is known of it.", Lasted(missing.Seconds())))
	}
	if len(r.view.Configurations) > 1 {
		r.view.Warnings = append(r.view.Warnings, "The configuration changed meanwhile; limits and band are drawn as they were at the end.")
	}
	r.figure("monitor ran", fmt.Sprintf("%s of %s", Lasted(watched.Seconds()), Lasted(whole.Seconds())))
	return nil
}

func later(a, b time.Time) time.Time {
	if a.After(b) {
		return a
	}
	return b
}

func earlier(a, b time.Time) time.Time {
	if a.Before(b) {
		return a
	}
	return b
}

// burns lists them and sums up what they were like.
func (r *reporter) burns(ctx context.Context) error {
	lasted, err := phases(ctx, r.a, r.w)
	if err != nil {
		return err
	}
	r.bands = (&Happened{Phases: lasted}).bands()
	var in [burn.Coals + 1]float64
	for _, b := range r.bands {
		in[b.Phase] += b.To.Sub(b.From).Seconds()
	}
	fire := in[burn.Lighting] + in[burn.WarmUp] + in[burn.CleanBurn] + in[burn.Smoulder]
	r.figure("fire", Lasted(fire))
	r.figure("clean burn", Lasted(in[burn.CleanBurn]))
	r.figure("smoulder", Lasted(in[burn.Smoulder]))
	r.figure("coals", Lasted(in[burn.Coals]))
	all, err := Burns(ctx, r.a, r.w)
	if err != nil {
		return err
	}
	u := r.s.Config.Site.Units
	var above, below, unseen float64
	for i := range all {
		b := &all[i]
		above, below, unseen = above+b.DraftAbove, below+b.DraftBelow, unseen+b.Unseen
		v := burnView{
			No: int64(b.No), Loads: b.Loads, Start: r.s.short(b.Start), Lasted: Lasted(b.End.Sub(b.Start).Seconds()), Kind: b.Kind,
			Flue: orNone(b.PeakFlue, u.Temperature), Draft: orNone(b.MeanDraft, u.Pressure),
			Clean: Lasted(b.CleanBurn), Smoulder: Lasted(b.Smoulder), Stands: b.Stands(),
		}
		if !b.Sure {
			v.Start += " (estimated)"
		}
		r.view.Burns = append(r.view.Burns, v)
	}
	r.figure("burns in the table", fmt.Sprint(len(all)))
	if len(all) > 0 {
		r.figure("draft above band, in burns", Lasted(above))
		r.figure("draft below band, in burns", Lasted(below))
	}
	if n := len(r.bands); n > 0 && r.bands[n-1].Phase != burn.Cold && r.bands[n-1].To.Equal(r.w.To) {
		r.view.Going = fmt.Sprintf("At the end a burn was going on, in the phase %v: it is not in the table and not in the figures of ended burns.", r.bands[n-1].Phase)
	}
	return nil
}

func orNone(v *float64, write func(float64) string) string {
	if v == nil {
		return "–"
	}
	return write(*v)
}

// alarms tells each time that one stood.
func (r *reporter) alarms(ctx context.Context) error {
	spells, err := Spells(ctx, r.a, r.w)
	if err != nil {
		return err
	}
	for _, s := range spells {
		v := alarmView{Name: s.Name, Priority: s.Priority.String(), Message: s.Message, Action: s.Action}
		switch {
		case s.From.IsZero():
			v.When = "raised before this history begins"
		default:
			v.When = "raised " + r.s.short(s.From)
		}
		if !s.Acknowledged.IsZero() {
			v.When += ", acknowledged " + r.s.short(s.Acknowledged)
		}
		switch {
		case s.To.IsZero():
			v.When += "; not over at the end of this history (" + s.State + ")"
		case s.To.After(r.w.To):
			v.When += "; over " + r.s.short(s.To) + ", after this window"
		case !s.From.IsZero():
			v.When += "; over " + r.s.short(s.To) + ", after " + Lasted(s.To.Sub(s.From).Seconds())
		default:
			v.When += "; over " + r.s.short(s.To)
		}
		if s.Causes != "" {
			if err := json.Unmarshal([]byte(s.Causes), &v.Causes); err != nil {
				return fmt.Errorf("read causes of %s: %w", s.Name, err)
			}
		}
		r.view.Alarms = append(r.view.Alarms, v)
	}
	r.figure("alarms", fmt.Sprint(len(spells)))
	return nil
}

// notices tells them with what people wrote.
func (r *reporter) notices(ctx context.Context) error {
	type told struct {
		at   time.Time
		what string
	}
	var all []told
	for _, kind := range []struct {
		table string
		words func(fields) string
	}{
		{"notices", func(f fields) string { return f.text("notice") + ": " + f.text("message") }},
		{"notes", func(f fields) string { return "note by " + f.text("author") + ": " + f.text("note") }},
		{"fuel", func(f fields) string {
			return "fuel, by " + f.text("author") + ": " + f.text("wood") + " " + f.text("note")
		}},
		{"calibrations", func(f fields) string { return f.text("channel") + " calibrated: " + f.text("method") }},
		{"commissionings", func(fields) string { return "commissioning" }},
	} {
		events, err := r.a.Events(ctx, kind.table, r.w.From, r.w.To)
		if err != nil {
			return err
		}
		for i := range events {
			all = append(all, told{events[i].At, kind.words(events[i].Fields)})
		}
	}
	slices.SortStableFunc(all, func(a, b told) int { return a.at.Compare(b.at) })
	for _, n := range all {
		r.view.Notices = append(r.view.Notices, noticeView{r.s.short(n.at), n.what})
	}
	return nil
}

// pictures draws the window for each size, and takes the peaks from the widest.
func (r *reporter) pictures(ctx context.Context, channels [frame.Count]bool) error {
	for _, size := range sizes {
		p, err := Picture(ctx, r.a, r.s, r.w, channels, size.width)
		if err != nil {
			return err
		}
		p.Prefix, p.Scheme = size.class, size.scheme
		var drawn bytes.Buffer
		if err := p.WriteSVG(&drawn); err != nil {
			return err
		}
		// The renderer escapes all text that it is given.
		r.view.Pictures = append(r.view.Pictures, drawing{size.class, template.HTML(drawn.String())}) //nolint:gosec
		if size.class != "wide" {
			continue
		}
		u := r.s.Config.Site.Units
		for _, part := range p.Panels {
			if part.Quantity == panel.Absolute {
				continue
			}
			for _, t := range part.Traces {
				if low, high, some := hull(t.Columns); some && part.Quantity == panel.Temperature {
					r.figure("hottest "+t.Name, u.Temperature(high))
				} else if some {
					r.figure(t.Name+", least to most", u.Pressure(low)+" to "+u.Pressure(high))
				}
			}
		}
	}
	return nil
}

func hull(columns []panel.Column) (low, high float64, some bool) {
	for _, c := range columns {
		switch {
		case c.Count == 0:
		case !some:
			low, high, some = c.Min, c.Max, true
		default:
			low, high = min(low, c.Min), max(high, c.Max)
		}
	}
	return low, high, some
}
