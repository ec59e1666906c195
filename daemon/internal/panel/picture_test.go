package panel_test

import (
	"bytes"
	"encoding/xml"
	"errors"
	"flag"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"time"

	"fluewright/analysis/alarm"
	"fluewright/analysis/burn"
	"fluewright/daemon/internal/panel"
	"fluewright/daemon/internal/units"
	"github.com/google/go-cmp/cmp"
)

var update = flag.Bool("update", false, "write the golden files anew")

// columns are n with readings of f at each share of the time; NaN is none.
func columns(n int, noise float64, f func(x float64) float64) []panel.Column {
	all := make([]panel.Column, n)
	for i := range all {
		v := f((float64(i) + 0.5) / float64(n))
		if math.IsNaN(v) {
			continue
		}
		// A noise that is the same everywhere.
		a, b := noise*float64(i*7919%13)/13, noise*float64(i*104729%11)/11
		all[i] = panel.Column{Min: v - a, Max: v + b, Mean: v, Count: 10}
	}
	return all
}

// ramp goes through points evenly in straight lines.
func ramp(points ...float64) func(float64) float64 {
	return func(x float64) float64 {
		at := x * float64(len(points)-1)
		i := min(int(at), len(points)-2)
		return points[i] + float64((at-float64(i))*(points[i+1]-points[i]))
	}
}

func without(from, to float64, f func(float64) float64) func(float64) float64 {
	return func(x float64) float64 {
		if x >= from && x < to {
			return math.NaN()
		}
		return f(x)
	}
}

// night is a picture with one of everything.
func night(width int, scheme panel.Scheme) panel.Picture {
	from := time.Date(2026, 1, 31, 19, 30, 0, 0, time.UTC)
	at := func(h float64) time.Time { return from.Add(time.Duration(h * float64(time.Hour))) }
	return panel.Picture{
		Title: "Furnace <3> & \"chimney\"", Prefix: "night", From: from, To: at(10.25), Now: at(10),
		Width: width, Units: units.SI, Scheme: scheme,
		Panels: []panel.Panel{
			{
				Title: "Fire and flue gas",
				Traces: []panel.Trace{
					{Name: "firebox", Columns: columns(width, 15, without(0.976, 1, ramp(20, 700, 820, 600, 900, 500, 300)))},
					{Name: "chamber", Columns: columns(width, 5, without(0.6, 1, ramp(20, 400, 600, 300, 640, 200, 100)))},
					{
						Name: "flue", Columns: columns(width, 2, without(0.976, 1, without(0.3, 0.38, ramp(20, 200, 300, 180, 420, 300, 300)))),
						Forecasts: []panel.Forecast{
							{{at(6), 400, 0.8}, {at(6.1), 440, 0.8}, {at(6.25), 470, 0.8}},
							{{at(10), 310, 0.2}, {at(10.1), 350, 0.2}, {at(10.25), 380, 0.2}},
						},
					},
				},
				Limits: []panel.Limit{{450, "flue limit"}, {950, "firebox limit"}, {940, "chamber limit"}},
			},
			{
				Title: "Draft", Quantity: panel.Pressure,
				Traces: []panel.Trace{{Name: "draft", Columns: columns(width, 4, without(0.976, 1, without(0.3, 0.38, ramp(4, 12, 13, 12, 20, 12, 12))))}},
				Band:   &panel.Specified{Low: 10, High: 15, Label: "specified"},
			},
		},
		Bands: []panel.Band{
			{from, at(0.2), burn.Cold},
			{at(0.2), at(0.5), burn.Lighting},
			{at(0.5), at(1.5), burn.WarmUp},
			{at(1.5), at(5), burn.CleanBurn},
			{at(5), at(5.6), burn.Smoulder},
			{at(5.6), at(8), burn.CleanBurn},
			{at(8), at(10), burn.Coals},
		},
		Marks: []panel.Mark{
			{Kind: panel.Alarm, From: at(6), To: at(7.5), Name: "runaway flue", Priority: alarm.High},
			{Kind: panel.Alarm, From: at(6.2), To: at(7), Name: "draft-high", Priority: alarm.Medium, State: "acknowledged"},
			{Kind: panel.Alarm, From: at(9.5), Name: "sensor-lost chamber", Priority: alarm.Low},
			{Kind: panel.Reload, From: at(5.2)},
			{Kind: panel.Door, From: at(5.1), To: at(5.25)},
			{Kind: panel.Notice, From: at(8.5), Name: "reload-due"},
			{Kind: panel.Note, From: at(2), Name: "maple & ash, 14 %"},
			{Kind: panel.Commissioning, From: at(1), Name: "proof of the regulator"},
		},
	}
}

func draw(t testing.TB, p panel.Picture) string {
	t.Helper()
	var out bytes.Buffer
	if err := p.WriteSVG(&out); err != nil {
		t.Fatal(err)
	}
	return out.String()
}

func in(t testing.TB, name string) *time.Location {
	t.Helper()
	z, err := time.LoadLocation(name)
	if err != nil {
		t.Fatal(err)
	}
	return z
}

func TestPicturesAreAsTheyWereSeen(t *testing.T) {
	chicago := night(400, panel.Dark)
	chicago.Zone, chicago.Units = in(t, "America/Chicago"), units.US
	change := night(700, panel.Light) // the night in which clocks go back
	change.Zone = in(t, "America/New_York")
	change.From = time.Date(2026, 11, 1, 0, 0, 0, 0, change.Zone)
	change.To, change.Now, change.Bands, change.Marks = change.From.Add(25*time.Hour), time.Time{}, nil, nil
	nothing := panel.Picture{
		Title: "Nothing yet", From: begin, To: begin.Add(time.Hour), Width: 320, Scheme: panel.Light,
		Panels: []panel.Panel{{Title: "Draft", Quantity: panel.Pressure, Traces: []panel.Trace{{Name: "draft"}}}},
	}
	for name, p := range map[string]panel.Picture{
		"auto-1200": night(1200, panel.Auto), "light-400": night(400, panel.Light), "dark-400-us": chicago,
		"print-800": night(800, panel.Print), "clock-change-700": change, "nothing-320": nothing,
	} {
		t.Run(name, func(t *testing.T) {
			got := draw(t, p)
			file := filepath.Join("testdata", name+".svg")
			if *update {
				if err := os.WriteFile(file, []byte(got), 0o644); err != nil {
					t.Fatal(err)
				}
			}
			want, err := os.ReadFile(file)
			if err != nil {
				t.Fatal(err)
			}
			if diff := cmp.Diff(string(want), got); diff != "" {
				t.Errorf("look at it, then run with -update (-want +got):\n%s", diff)
			}
			if again := draw(t, p); again != got {
				t.Error("drawn again it differs")
			}
		})
	}
}

// check parses a picture: it must be XML without a script, its ids its own, its text
// large enough and inside.
func check(t *testing.T, svg string, ids map[string]bool, width int) {
	t.Helper()
	d := xml.NewDecoder(strings.NewReader(svg))
	own := map[string]bool{}
	for {
		token, err := d.Token()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			t.Fatalf("not XML: %v", err)
		}
		e, ok := token.(xml.StartElement)
		if !ok {
			continue
		}
		if e.Name.Local == "script" || e.Name.Local == "image" || e.Name.Local == "foreignObject" {
			t.Errorf("there is a <%s>", e.Name.Local)
		}
		for _, a := range e.Attr {
			switch name := a.Name.Local; {
			case name == "id":
				if ids[a.Value] {
					t.Errorf("id %q stands twice", a.Value)
				}
				ids[a.Value], own[a.Value] = true, true
			case name == "font-size":
				if v, err := strconv.ParseFloat(a.Value, 64); err != nil || v < 11 {
					t.Errorf("font-size %q is too small to read", a.Value)
				}
			case strings.HasPrefix(name, "on") || name == "href":
				t.Errorf("there is an attribute %s", name)
			case name == "x" && e.Name.Local == "text":
				if v, err := strconv.ParseFloat(a.Value, 64); err != nil || v < 0 || v > float64(width) {
					t.Errorf("text at x %s is outside of %d", a.Value, width)
				}
			}
			if strings.Contains(a.Value, "NaN") || strings.Contains(a.Value, "Inf") {
				t.Errorf("%s of <%s> is %q", a.Name.Local, e.Name.Local, a.Value)
			}
		}
	}
	for _, ref := range regexp.MustCompile(`url\(#([^)]*)\)`).FindAllStringSubmatch(svg, -1) {
		if !own[ref[1]] {
			t.Errorf("nothing has the id %q", ref[1])
		}
	}
}

func TestPicturesShareAPage(t *testing.T) {
	ids := map[string]bool{}
	for i := range 3 {
		p := night(600, panel.Auto)
		p.Prefix = fmt.Sprintf("p%d", i)
		check(t, draw(t, p), ids, 600)
	}
}

func TestReadersAreToldWhatIsDrawn(t *testing.T) {
	svg := draw(t, night(1200, panel.Auto))
	for _, want := range []string{
		`aria-labelledby="night-title night-desc"`,
		"<title id=\"night-title\">Furnace &lt;3&gt; &amp; &#34;chimney&#34;</title>",
		"Sat, Jan 31, 19:30 to Sun, Feb 1, 05:45, 2026 (UTC)",
		"Fire and flue gas, chamber: 21 to 602 °C, none at the end.",
		"Alarm: runaway flue, high priority, Feb 1 01:30 to Feb 1 03:00.",
		"Alarm: sensor-lost chamber, low priority, Feb 1 05:00 and on.",
		">clean-burn<", ">chamber –<", ">flue limit 450 °C<", ">specified 10.0 to 15.0 Pa<", ">reload<", ">no reading<",
		"Forecast of 05:30: 380 °C at 05:45, 20 % to pass the limit",
		">draft-high (acknowledged)<",
	} {
		if !strings.Contains(svg, want) {
			t.Errorf("nothing says %s", want)
		}
	}
}

// The line of a trace must not cross a gap, however it is reduced.
func TestGapsAreNotBridged(t *testing.T) {
	for _, width := range []int{400, 1200} {
		p := night(width, panel.Light)
		p.Panels = p.Panels[1:]
		p.Marks, p.Bands = nil, nil
		p.Panels[0].Traces[0].Columns = columns(width, 0, without(0.3, 0.38, ramp(10, 12)))
		p.Now = p.To
		svg := draw(t, p)
		data := regexp.MustCompile(`stroke-linejoin="round"[^>]* d="([^"]*)"`).FindStringSubmatch(svg)
		if data == nil {
			t.Fatal("no trace")
		}
		if moves := strings.Count(data[1], "m"); moves != 2 {
			t.Errorf("at %d px the line has %d parts, want 2: %s", width, moves, data[1])
		}
		if n := strings.Count(svg, `fill="url(#night-gap)"`); n != 2 { // and one for the key
			t.Errorf("at %d px %d gaps are hatched, want 1 and the key", width, n)
		}
	}
}

// Readings rarer than pixels are a line all the same, and no gap.
func TestRareReadingsAreNoGaps(t *testing.T) {
	p := night(1200, panel.Light)
	p.Marks, p.Bands, p.Panels, p.Now = nil, nil, p.Panels[1:], p.To
	p.To = p.From.Add(10 * time.Minute)
	r := panel.NewReducer(p.From, p.Width)
	for s := 0; s <= 600; s += 5 {
		r.Add(p.From.Add(time.Duration(s)*time.Second), 12)
	}
	p.Panels[0].Traces = []panel.Trace{{Name: "draft", Columns: r.Columns(p.From, p.To, p.Width), Hold: r.Hold()}}
	svg := draw(t, p)
	if strings.Contains(svg, "no reading") || !strings.Contains(svg, ">draft 12.0<") {
		t.Error("readings every 5 s are drawn as gaps")
	}
}

func TestAWildSampleDoesNotFlattenTheRest(t *testing.T) {
	p := night(800, panel.Light)
	p.Panels = p.Panels[1:]
	p.Panels[0].Traces[0].Columns[400].Max = 480
	svg := draw(t, p)
	if !strings.Contains(svg, ">480.0<") {
		t.Error("nothing tells the value that lies beyond the panel")
	}
	if !strings.Contains(svg, ">15<") || strings.Contains(svg, ">400<") {
		t.Error("the scale follows one wild sample")
	}
}

func TestTooManyAlarmsAreCounted(t *testing.T) {
	p := night(400, panel.Light)
	p.Marks = nil
	for i := range 300 {
		from := p.From.Add(time.Duration(i) * time.Minute)
		p.Marks = append(p.Marks, panel.Mark{
			Kind: panel.Alarm, From: from, To: from.Add(time.Hour), Name: fmt.Sprint("low-", i%30), Priority: alarm.Low,
		})
	}
	p.Marks = append(p.Marks, panel.Mark{Kind: panel.Alarm, From: p.From, Name: "spillage", Priority: alarm.High})
	svg := draw(t, p)
	if !strings.Contains(svg, ">spillage<") {
		t.Error("the urgent alarm gave way to others")
	}
	if !strings.Contains(svg, ">low-0, 10 times<") {
		t.Error("an alarm that came again and again is not told as one")
	}
	if !regexp.MustCompile(`>and \d+ more alarms that find no room here<`).MatchString(svg) {
		t.Error("nothing says that alarms were left out")
	}
}

func TestWhatCannotBeDrawnIsRefused(t *testing.T) {
	good := night(800, panel.Auto)
	for name, change := range map[string]func(*panel.Picture){
		"width 299 px is not within 300 to 2000":  func(p *panel.Picture) { p.Width = 299 },
		"width 2001 px is not within 300 to 2000": func(p *panel.Picture) { p.Width = 2001 },
		"it ends at":        func(p *panel.Picture) { p.To = p.From },
		"no such scheme: 9": func(p *panel.Picture) { p.Scheme = 9 },
	} {
		p := good
		change(&p)
		if err := p.WriteSVG(io.Discard); err == nil || !strings.Contains(err.Error(), name) {
			t.Errorf("got %v, want %q", err, name)
		}
	}
}

type full struct{}

func (full) Write([]byte) (int, error) { return 0, errors.New("no space") }

func TestAFailureToWriteIsTold(t *testing.T) {
	if err := night(400, panel.Auto).WriteSVG(full{}); err == nil || err.Error() != "write picture: no space" {
		t.Errorf("got %v", err)
	}
}

// Whatever the names and numbers are, a picture is valid.
func FuzzPicture(f *testing.F) {
	f.Add("a", "<script>alert(1)</script>", "]]>&\x00\u202e", 400, uint8(0), 20.0, 1e308, int64(3600), uint8(3))
	f.Add("9 \"'><", strings.Repeat("W", 3000), "", 300, uint8(1), math.Inf(1), math.NaN(), int64(1), uint8(200))
	f.Add("", "日本語🔥", "x", 2000, uint8(7), -1e300, 5e-324, int64(1e10), uint8(0))
	f.Fuzz(func(t *testing.T, prefix, name, other string, width int, kind uint8, v, w float64, seconds int64, pick uint8) {
		if width < panel.MinWidth || width > panel.MaxWidth || seconds < 1 || seconds > 1e11 {
			t.Skip()
		}
		p := night(width, panel.Scheme(pick%4))
		p.Prefix, p.Title, p.Units = prefix, name, units.System(pick%2)
		p.To = p.From.Add(time.Duration(min(seconds, 9e9)) * time.Second)
		if pick%3 == 0 {
			p.Zone = time.FixedZone(other, int(seconds%100000)-50000)
		}
		first := &p.Panels[0]
		first.Title, first.Quantity = other, panel.Quantity(kind)
		first.Traces[0].Name, first.Traces[1].Name = name, other
		first.Traces[0].Hold = time.Duration(seconds) * time.Duration(pick)
		first.Traces[0].Columns[int(pick)] = panel.Column{Min: v, Max: w, Mean: v, Count: int(kind)}
		first.Limits[0] = panel.Limit{Value: w, Label: name}
		first.Traces[2].Forecasts[0][1] = panel.Point{Time: p.From.Add(time.Duration(seconds)), Value: v, Probability: w}
		p.Panels[1].Band = &panel.Specified{Low: v, High: w, Label: other}
		p.Bands[1].Phase = burn.Phase(kind)
		p.Marks = append(p.Marks, panel.Mark{Kind: panel.Kind(kind), From: p.From.Add(time.Duration(seconds)), Name: name, State: other, Priority: alarm.Priority(pick)})
		check(t, draw(t, p), map[string]bool{}, width)
	})
}

func BenchmarkNight(b *testing.B) {
	p := night(1200, panel.Auto)
	n := 0
	for b.Loop() {
		n = len(draw(b, p))
	}
	b.ReportMetric(float64(n), "B/picture")
}
