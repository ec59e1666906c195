package panel_test

import (
	"fmt"
	"regexp"
	"strings"
	"testing"
	"time"

	"fluewright/daemon/internal/panel"
	"fluewright/daemon/internal/units"
)

// A page that forbids style elements brings the rules itself: they name every class whose
// colour another scheme changes.
func TestLinkedPicturesFollowThePagesStyleSheet(t *testing.T) {
	auto, linked := draw(t, night(1200, panel.Auto)), draw(t, night(1200, panel.Linked))
	begin, end := strings.Index(auto, "<style>"), strings.Index(auto, "</style>")
	if strings.Contains(linked, "<style") || linked != auto[:begin]+auto[end+len("</style>\n"):] {
		t.Error("a linked picture is not the one that follows the reader, without its style element")
	}
	sheet := string(panel.StyleSheet("night"))
	rules := regexp.MustCompile(`\.[^}]*}`).FindAllString(auto[begin:end], -1)
	if len(rules) < 20 {
		t.Fatalf("%d rules", len(rules))
	}
	for _, rule := range rules {
		if !strings.Contains(sheet, rule) {
			t.Errorf("the style sheet has no %s", rule)
		}
	}
}

// Whoever points at a picture finds the moment: its ends are where the ticks are drawn.
func TestDrawnSaysWhereTheTimeLies(t *testing.T) {
	p := night(1200, panel.Light)
	d, err := p.Draw()
	if err != nil {
		t.Fatal(err)
	}
	if d.Width != 1200 || !(0 < d.Left && d.Left < d.Right && d.Right < d.Width) || !(0 < d.Top && d.Top < d.Bottom && d.Bottom < d.Height) {
		t.Errorf("%+v", d)
	}
	frame := regexp.MustCompile(`<rect x="([0-9.]+)" y="[0-9.]+" width="([0-9.]+)" height="190"`).FindStringSubmatch(string(d.SVG))
	if frame == nil || fmt.Sprint(d.Left) != frame[1] || fmt.Sprint(d.Right-d.Left) != frame[2] {
		t.Errorf("the panels are drawn at %v, said to be from %v to %v", frame, d.Left, d.Right)
	}
	if !strings.Contains(d.Words, "Fire and flue gas, firebox") {
		t.Error(d.Words)
	}
}

// Where two burns lie over each other no time of day is right for both.
func TestElapsed(t *testing.T) {
	begin := time.Unix(0, 0)
	for _, tt := range []struct {
		long time.Duration
		want []string
	}{
		{30 * time.Hour, []string{">0:00<", ">6:00<", ">30:00<"}},
		{4 * time.Hour, []string{">0:30<", ">3:30<"}},
		{2 * time.Minute, []string{">0:00:10<", ">0:02:00<"}},
	} {
		svg := draw(t, panel.Picture{
			Prefix: "two", From: begin, To: begin.Add(tt.long), Width: 1200, Units: units.SI, Elapsed: true, Scheme: panel.Light,
			Panels: []panel.Panel{
				{Title: "Flue", Traces: []panel.Trace{{Name: "before", Columns: columns(100, 0, ramp(20, 300))}}},
				{Title: "Chamber", Traces: []panel.Trace{{Name: "before", Columns: columns(100, 0, ramp(20, 300))}}},
			},
		})
		for _, want := range append(tt.want, "Hours and minutes from the start") {
			if !strings.Contains(svg, want) {
				t.Errorf("%v: nothing says %s", tt.long, want)
			}
		}
		if strings.Contains(svg, "Jan") || strings.Contains(svg, "1970") {
			t.Errorf("%v: a date is told", tt.long)
		}
		if first, second := strings.Count(svg, `fill="#9c4300">before<`), strings.Count(svg, `fill="#6b2fa0">before<`); first != 2 || second != 0 {
			t.Errorf("%v: the first colour is in %d panels of 2, the second in %d", tt.long, first, second)
		}
	}
}
