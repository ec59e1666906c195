package panel_test

import (
	"math"
	"strings"
	"testing"
	"time"

	"fluewright/analysis/alarm"
	"fluewright/analysis/burn"
	"fluewright/daemon/internal/panel"
	"fluewright/daemon/internal/units"
)

// season is a picture of 200 days with a burn every eight hours.
func season(width int) panel.Picture {
	p := panel.Picture{
		Title: "A season", From: begin, To: begin.Add(200 * 24 * time.Hour), Width: width, Units: units.SI, Scheme: panel.Light,
	}
	r := panel.NewReducer(p.From, width)
	for m := range 200 * 24 * 60 {
		r.Add(p.From.Add(time.Duration(m)*time.Minute), 150+100*math.Sin(float64(m)/480*2*math.Pi))
	}
	r.Add(p.To, 77)
	p.Panels = []panel.Panel{{Title: "Flue", Traces: []panel.Trace{{Name: "flue", Columns: r.Columns(p.From, p.To, width), Hold: r.Hold(), Last: r.Last()}}}}
	for h := range 600 {
		at := p.From.Add(time.Duration(8*h) * time.Hour)
		p.Bands = append(p.Bands,
			panel.Band{From: at, To: at.Add(4 * time.Hour), Phase: burn.CleanBurn},
			panel.Band{From: at.Add(4 * time.Hour), To: at.Add(8 * time.Hour), Phase: burn.Coals})
		p.Marks = append(p.Marks,
			panel.Mark{Kind: panel.Reload, From: at},
			panel.Mark{Kind: panel.Notice, From: at.Add(time.Hour), Name: "reload-due"},
			panel.Mark{Kind: panel.Door, From: at, To: at.Add(time.Minute)},
			panel.Mark{Kind: panel.Alarm, From: at, To: at.Add(2 * time.Hour), Name: "draft-low", Priority: alarm.Medium})
	}
	return p
}

// However much happened, a picture is as large as it is wide.
func TestASeasonIsDrawnAsSmallAsANight(t *testing.T) {
	svg := draw(t, season(1200))
	if len(svg) > 150_000 {
		t.Errorf("the picture has %d bytes", len(svg))
	}
	for _, want := range []string{"Jan 31 to Aug 19, 2026 (UTC)", ">draft-low, 600 times<", ">flue 77<"} {
		if !strings.Contains(svg, want) {
			t.Errorf("nothing says %s", want)
		}
	}
}

// The mean of half a day is not what is read now.
func TestNoMeanOfHoursStandsForTheLastReading(t *testing.T) {
	p := season(400)
	p.Panels[0].Traces[0].Last = panel.Reading{}
	if svg := draw(t, p); !strings.Contains(svg, ">flue<") || !strings.Contains(svg, "read to the end.") {
		t.Error("a value stands beside the name")
	}
	p.Panels[0].Traces[0].Last = panel.Reading{Time: p.To.Add(-24 * time.Hour), Value: 77}
	if svg := draw(t, p); !strings.Contains(svg, ">flue –<") {
		t.Error("a reading of yesterday stands for now")
	}
}
