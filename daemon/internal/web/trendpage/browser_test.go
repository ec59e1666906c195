package trendpage_test

import (
	"fmt"
	"math"
	"net/http"
	"net/http/httptest"
	"net/url"
	"strings"
	"testing"
	"time"

	"fluewright/analysis"
	"fluewright/analysis/alarm"
	"fluewright/analysis/burn"
	"fluewright/analysis/frame"
	"fluewright/daemon/internal/config"
	"fluewright/daemon/internal/history"
	"fluewright/daemon/internal/trend"
	"fluewright/daemon/internal/units"
	"fluewright/daemon/internal/web/browsertest"
)

// evening is eight hours with two burns and all that can be marked; from 3 h 10 min on for
// twenty minutes the flue is not read.
func evening(t testing.TB, cfg *config.Config) *history.Store {
	t.Helper()
	return keep(t, cfg, func(s *history.Store, offer func(time.Duration, burn.Phase, map[frame.Channel]float64, ...analysis.Event)) {
		raised := alarm.Status{Key: alarm.Key{Name: alarm.Overheat, Channel: frame.Flue}, State: alarm.Raised, Priority: alarm.High, Occurrence: 1, Value: 420, Limit: 400}
		over := raised
		over.State = alarm.Returned
		happened := map[time.Duration][]analysis.Event{
			10 * time.Minute: {
				{Kind: analysis.PhaseChanged, From: burn.Cold, To: burn.Lighting},
				{Kind: analysis.Reloaded, Load: burn.Load{At: 10 * time.Minute, Cold: true}},
			},
			40 * time.Minute:  {{Kind: analysis.PhaseChanged, From: burn.Lighting, To: burn.CleanBurn}},
			2 * time.Hour:     {{Kind: analysis.DoorOpened, Door: burn.Door{At: 2 * time.Hour}}, {Kind: analysis.Reloaded, Load: burn.Load{At: 2 * time.Hour}}},
			121 * time.Minute: {{Kind: analysis.DoorClosed, Door: burn.Door{At: 2 * time.Hour}}},
			150 * time.Minute: {{Kind: analysis.AlarmChanged, Change: alarm.WasRaised, Alarm: raised}},
			170 * time.Minute: {{Kind: analysis.AlarmChanged, Change: alarm.WasCleared, Alarm: over}},
			4 * time.Hour: {
				{Kind: analysis.PhaseChanged, From: burn.CleanBurn, To: burn.Coals},
				{Kind: analysis.BurnEnded, Burn: burn.Summary{Start: 10 * time.Minute, End: 4 * time.Hour, PeakFlue: 420, PeakChamber: 800, MeanDraft: 13, Loads: 2}},
			},
			7 * time.Hour: {{Kind: analysis.BurnEnded, Burn: burn.Summary{Start: 4 * time.Hour, End: 7 * time.Hour, PeakFlue: 300, PeakChamber: 700, MeanDraft: 12, Loads: 1}}},
		}
		phase := burn.Cold
		for at := time.Duration(0); at < 8*time.Hour; at += time.Second {
			for _, e := range happened[at] {
				if e.Kind == analysis.PhaseChanged {
					phase = e.To
				}
			}
			if at == 3*time.Hour {
				s.Note("Jo <Installer>", "gate freed, mark 3 & cleaned")
			}
			x := at.Seconds()
			flue := 250 + 150*math.Sin(x/3000) + 3*math.Sin(x/7)
			if at >= 190*time.Minute && at < 210*time.Minute {
				flue = math.NaN()
			}
			offer(at, phase, map[frame.Channel]float64{
				frame.Chamber: 500 + 300*math.Sin(x/3000), frame.Flue: flue, frame.Plenum: 50 + 9*math.Sin(x/4000),
				frame.Room: 20 + math.Sin(x/9000), frame.Draft: 12.5 + 4*math.Sin(x/900) + math.Sin(x/5), frame.Ambient: 98000 + 50*math.Sin(x/9000),
			}, happened[at]...)
		}
	})
}

// policy is the one that the pages are served under.
const policy = "default-src 'none'; style-src 'self'; script-src 'self'; img-src 'self' data:; " +
	"connect-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'"

// listen serves to a browser, as strictly as the monitor does.
func listen(t testing.TB, cfg *config.Config, h trend.History) (address string) {
	t.Helper()
	pages := serve(t, cfg, h)
	server := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		w.Header().Set("Content-Security-Policy", policy)
		pages.ServeHTTP(w, r)
	}))
	t.Cleanup(server.Close)
	return server.URL
}

func american() *config.Config {
	cfg := site()
	cfg.Site.Units, cfg.Site.Name = units.US, "the-smiths-at-old-mill-road-12"
	return cfg
}

const live = `document.querySelector('.stage-live svg') && !document.querySelector('.waiting') && trend.cross`

// TestLooks keeps pictures of every state at every size and in both schemes, and finds nothing
// that is not accessible.
func TestLooks(t *testing.T) {
	b := browsertest.Start(t)
	cfg := american()
	kept := listen(t, cfg, evening(t, cfg))
	empty := listen(t, cfg, keep(t, cfg, func(*history.Store, func(time.Duration, burn.Phase, map[frame.Channel]float64, ...analysis.Event)) {}))
	none := listen(t, cfg, nil)
	for _, look := range browsertest.Looks {
		t.Run(look.String(), func(t *testing.T) {
			tab := b.Tab(t, look)
			tab.Open(kept + "/trend?since=8h")
			tab.Until(live, time.Minute)
			tab.Check("trend")
			tab.Eval(`trend.point(trend.view.from + 0.32 * (trend.view.to - trend.view.from))`, nil)
			tab.Eval(`document.querySelector('#trend-choose').open = true`, nil)
			tab.Check("trend-pointed")
			tab.Open(kept + "/trend/compare?a=1&b=2")
			tab.Until(`document.querySelector('.picture img').naturalWidth > 0`, 10*time.Second)
			tab.Check("compare")
			tab.Open(empty + "/trend")
			tab.Check("trend-empty")
			tab.Open(none + "/trend")
			tab.Check("trend-none")
		})
	}
	t.Run("print", func(t *testing.T) {
		tab := b.Tab(t, browsertest.Look{Width: 1280, Print: true})
		tab.Open(kept + "/trend?since=8h")
		tab.Until(live, time.Minute)
		tab.Shot("trend")
	})
}

// What the crosshair reads is what the store has in that column, in the site's units; where
// nothing was read it says so.
func TestTheCrosshairReadsWhatIsKept(t *testing.T) {
	b := browsertest.Start(t)
	cfg := american()
	store := evening(t, cfg)
	address := listen(t, cfg, store)
	for _, width := range []int{390, 1280} {
		t.Run(fmt.Sprint(width), func(t *testing.T) {
			tab := b.Tab(t, browsertest.Look{Width: width})
			tab.Open(address + "/trend?since=8h")
			tab.Until(live, time.Minute)
			read(t, tab, cfg, store, 0.13, 0.33, 0.5, 0.77)
			var text string
			tab.Eval(`trend.point(Date.parse('2026-11-25T15:20:00Z')), document.querySelector('.readout').innerText`, &text)
			if !strings.Contains(text, "flue\nno reading") || !strings.Contains(text, "15:") {
				t.Errorf("in the gap it says %q", text)
			}
			tab.Eval(`trend.point(Date.parse('2026-11-25T14:35:00Z')), document.querySelector('.readout').innerText`, &text)
			for _, want := range []string{"clean-burn", "alarm, high priority"} {
				if !strings.Contains(text, want) {
					t.Errorf("it does not say %q in %q", want, text)
				}
			}
			// A window of seconds, in which columns are narrower than readings are apart.
			tab.Open(address + "/trend?from=2026-11-25T14:00:00Z&to=2026-11-25T14:05:00Z")
			tab.Until(live, time.Minute)
			tab.Eval(`trend.point((trend.view.from + trend.view.to) / 2), document.querySelector('.readout').innerText`, &text)
			if strings.Contains(text, "no reading") {
				t.Errorf("between two readings it says %q", text)
			}
		})
	}
}

// read points at shares of the window and compares what is told with the store.
func read(t *testing.T, tab *browsertest.Tab, cfg *config.Config, store *history.Store, shares ...float64) {
	t.Helper()
	var x struct {
		From    int64 `json:"from_ms"`
		To      int64 `json:"to_ms"`
		Columns int
	}
	tab.Eval(`trend.cross`, &x)
	all := []frame.Channel{frame.Flue, frame.Draft}
	kept, err := store.Trend(t.Context(), history.Window{From: time.UnixMilli(x.From), To: time.UnixMilli(x.To), Columns: x.Columns, Channels: all})
	if err != nil {
		t.Fatal(err)
	}
	for _, share := range shares {
		var told map[string]string
		tab.Eval(fmt.Sprintf(`trend.point(trend.view.from + %g * (trend.view.to - trend.view.from)),
			Object.fromEntries([...document.querySelectorAll('.readout dl div')].map((d) => [d.querySelector('dt').textContent, d.querySelector('dd').firstChild.textContent + '|' + d.querySelector('small').textContent]))`, share), &told)
		i := int(share * float64(x.Columns))
		for k, write := range []func(float64) string{cfg.Site.Units.Temperature, cfg.Site.Units.Pressure} {
			c := kept.Series[k][i]
			if c.N == 0 {
				t.Fatalf("the store has nothing of %v in column %d", all[k], i)
			}
			number := func(v float64) string { n, _, _ := strings.Cut(write(v), " "); return n }
			_, unit, _ := strings.Cut(write(0), " ")
			want := number(c.Mean) + " " + unit + "|"
			if low, high := number(c.Min), number(c.Max); low != high {
				want += low + " to " + high
			}
			if got := told[all[k].String()]; got != want {
				t.Errorf("at %g, %v: %q, the store has %q", share, all[k], got, want)
			}
		}
	}
}

// ends is the window that is shown.
func ends(tab *browsertest.Tab) (from, to time.Time) {
	var x struct {
		From int64 `json:"from_ms"`
		To   int64 `json:"to_ms"`
	}
	tab.Eval(`trend.cross`, &x)
	return time.UnixMilli(x.From).UTC(), time.UnixMilli(x.To).UTC()
}

// at is where a share of the time lies on the screen.
func at(tab *browsertest.Tab, share float64) (x, y float64) {
	var p struct{ X, Y float64 }
	tab.Eval(fmt.Sprintf(`(() => {
		trend.stage.scrollIntoView({block: 'start'});
		const r = trend.stage.getBoundingClientRect();
		return {x: r.x + trend.left() + %g * (trend.right() - trend.left()), y: r.y + 300};
	})()`, share), &p)
	return p.X, p.Y
}

// asks does something and waits until the monitor has drawn another window.
func asks(tab *browsertest.Tab, do func()) {
	tab.Eval(`window.drawn = 0, trend.counting ||= trend.shown.push(() => window.drawn++)`, nil)
	do()
	tab.Until(`window.drawn > 0 && `+live, time.Minute)
}

func about(t *testing.T, what string, got, want time.Time, span time.Duration) {
	t.Helper()
	if apart := got.Sub(want).Abs(); apart > span/100 {
		t.Errorf("%s: %v, want %v", what, got, want)
	}
}

func TestAMouseComesCloserAndGoesBack(t *testing.T) {
	b := browsertest.Start(t)
	cfg := american()
	store := evening(t, cfg)
	tab := b.Tab(t, browsertest.Look{Width: 1280})
	tab.Open(listen(t, cfg, store) + "/trend?since=8h")
	tab.Until(live, time.Minute)
	from, to := ends(tab)
	whole := to.Sub(from)
	mouse := func(kind string, share float64, count int) {
		x, y := at(tab, share)
		tab.Call("Input.dispatchMouseEvent", map[string]any{"type": kind, "x": x, "y": y, "button": "left", "buttons": 1, "clickCount": count}, nil)
	}
	asks(tab, func() {
		mouse("mousePressed", 0.25, 1)
		mouse("mouseMoved", 0.4, 0)
		mouse("mouseMoved", 0.5, 0)
		mouse("mouseReleased", 0.5, 1)
	})
	gotFrom, gotTo := ends(tab)
	about(t, "dragged, from", gotFrom, from.Add(whole/4), whole)
	about(t, "dragged, to", gotTo, from.Add(whole/2), whole)
	read(t, tab, cfg, store, 0.2, 0.9)
	var address string
	tab.Eval(`location.search`, &address)
	if q, err := url.ParseQuery(strings.TrimPrefix(address, "?")); err != nil || q.Get("from") == "" || q.Get("to") == "" {
		t.Errorf("the address is %q: it does not bring this window again", address)
	}
	if words := tab.Text("#trend-windows .window"); !strings.Contains(words, gotFrom.Format("15:04")) {
		t.Errorf("the words are %q", words)
	}
	asks(tab, func() {
		mouse("mousePressed", 0.5, 1)
		mouse("mouseReleased", 0.5, 1)
		mouse("mousePressed", 0.5, 2)
		mouse("mouseReleased", 0.5, 2)
	})
	outFrom, outTo := ends(tab)
	if got, want := outTo.Sub(outFrom), 2*gotTo.Sub(gotFrom); (got - want).Abs() > want/50 {
		t.Errorf("a double click shows %v, want %v", got, want)
	}
	asks(tab, func() { tab.Eval(`history.back()`, nil) })
	backFrom, backTo := ends(tab)
	about(t, "back, from", backFrom, gotFrom, whole)
	about(t, "back, to", backTo, gotTo, whole)
	asks(tab, func() { tab.Tap(`#trend-windows a[href*="since=1h"]`) })
	hourFrom, hourTo := ends(tab)
	if got := hourTo.Sub(hourFrom); got != time.Hour {
		t.Errorf("1 h shows %v", got)
	}
	if said := tab.Said(); len(said) > 0 {
		t.Error(said)
	}
}

func TestFingers(t *testing.T) {
	b := browsertest.Start(t)
	cfg := american()
	store := evening(t, cfg)
	tab := b.Tab(t, browsertest.Look{Width: 390})
	tab.Open(listen(t, cfg, store) + "/trend?since=8h")
	tab.Until(live, time.Minute)
	from, to := ends(tab)
	whole := to.Sub(from)
	// later is when the next touch happens: a busy computer brings it late.
	later := time.Now()
	touch := func(kind string, shares ...float64) {
		points := []map[string]float64{}
		for i, s := range shares {
			x, y := at(tab, s)
			points = append(points, map[string]float64{"x": x, "y": y, "id": float64(i)})
		}
		later = later.Add(40 * time.Millisecond)
		tab.Call("Input.dispatchTouchEvent", map[string]any{
			"type": kind, "touchPoints": points, "timestamp": float64(later.UnixMilli()) / 1000,
		}, nil)
	}
	// Two fingers go from 40 and 60 % to 20 and 80 %: a third of the window, around its middle.
	asks(tab, func() {
		touch("touchStart", 0.4)
		touch("touchStart", 0.4, 0.6)
		for i := range 5 {
			d := 0.04 * float64(i+1)
			touch("touchMove", 0.4-d, 0.6+d)
		}
		touch("touchEnd")
	})
	inFrom, inTo := ends(tab)
	about(t, "pinched, from", inFrom, from.Add(whole/3), whole)
	about(t, "pinched, to", inTo, from.Add(whole*2/3), whole)
	read(t, tab, cfg, store, 0.6)
	// One finger takes the time along.
	asks(tab, func() {
		touch("touchStart", 0.3)
		touch("touchMove", 0.4)
		touch("touchMove", 0.6)
		touch("touchMove", 0.8)
		touch("touchEnd")
	})
	panFrom, panTo := ends(tab)
	about(t, "panned, from", panFrom, inFrom.Add(-inTo.Sub(inFrom)/2), whole)
	about(t, "panned, to", panTo, inTo.Add(-inTo.Sub(inFrom)/2), whole)
	// A tap reads.
	touch("touchStart", 0.5)
	touch("touchEnd")
	tab.Until(`!document.querySelector('.readout').hidden && document.querySelectorAll('.readout dd').length === 6`, 5*time.Second)
	tab.Shot("tapped")
	later = later.Add(500 * time.Millisecond) // else the next would be the second of a double tap
	asks(tab, func() {
		touch("touchStart", 0.5)
		touch("touchEnd")
		touch("touchStart", 0.5)
		touch("touchEnd")
	})
	outFrom, outTo := ends(tab)
	if got, want := outTo.Sub(outFrom), 2*panTo.Sub(panFrom); (got - want).Abs() > want/50 {
		t.Errorf("a double tap shows %v, want %v", got, want)
	}
	if said := tab.Said(); len(said) > 0 {
		t.Error(said)
	}
}

// By keyboard all of it can be had, and a screen reader is told what was read.
func TestTheKeyboard(t *testing.T) {
	b := browsertest.Start(t)
	cfg := american()
	store := evening(t, cfg)
	tab := b.Tab(t, browsertest.Look{Width: 1280})
	tab.Open(listen(t, cfg, store) + "/trend?since=8h")
	tab.Until(live, time.Minute)
	from, to := ends(tab)
	whole := to.Sub(from)
	tab.Eval(`document.querySelector('.surface').focus()`, nil)
	value := func() (now int, text string) {
		tab.Eval(`+document.querySelector('.surface').getAttribute('aria-valuenow')`, &now)
		tab.Eval(`document.querySelector('.surface').getAttribute('aria-valuetext')`, &text)
		return now, text
	}
	tab.Key("ArrowRight")
	first, _ := value()
	tab.Key("ArrowRight")
	second, text := value()
	if second != first+1 {
		t.Errorf("an arrow goes from column %d to %d", first, second)
	}
	for _, want := range []string{"16:0", "coals", "flue ", "°F", "draft ", "in. w.c."} {
		if !strings.Contains(text, want) {
			t.Errorf("a screen reader is told %q, not %q", text, want)
		}
	}
	asks(tab, func() { tab.Key("+") })
	inFrom, inTo := ends(tab)
	if got := inTo.Sub(inFrom); (got - whole/2).Abs() > whole/100 {
		t.Errorf("+ shows %v", got)
	}
	var focused bool
	if tab.Eval(`document.activeElement.className === 'surface'`, &focused); !focused {
		t.Error("the keyboard was lost over a new picture")
	}
	asks(tab, func() { tab.Key("-") })
	outFrom, outTo := ends(tab)
	about(t, "-, from", outFrom, from, whole)
	about(t, "-, to", outTo, to, whole)
	tab.Key("Escape")
	var hidden bool
	if tab.Eval(`document.querySelector('.readout').hidden`, &hidden); !hidden {
		t.Error("Escape leaves the reading there")
	}
}

// Without scripts links lead from window to window, and the pictures are images.
func TestWithoutScripts(t *testing.T) {
	b := browsertest.Start(t)
	cfg := american()
	address := listen(t, cfg, evening(t, cfg))
	for _, look := range []browsertest.Look{{Width: 390, NoScript: true, Dark: true}, {Width: 1280, NoScript: true}} {
		t.Run(look.String(), func(t *testing.T) {
			tab := b.Tab(t, look)
			tab.Open(address + "/trend")
			drawn := `document.querySelector('#trend-stage img').naturalWidth >= 300`
			tab.Until(drawn, 10*time.Second)
			tab.Shot("trend")
			before := tab.Text(".window")
			tab.Loading(func() { tab.Tap(`#trend-windows a[href*="since=1h"]`) })
			if after := tab.Text(".window"); after == before || tab.Text(`[aria-current="true"]`) != "1 h" {
				t.Errorf("1 h leads from %q to %q", before, after)
			}
			for _, name := range []string{"Earlier", "Zoom out"} {
				here := tab.Text(".window")
				tab.Eval(fmt.Sprintf(`[...document.querySelectorAll('.moves a')].find((a) => a.innerText === %q).id = 'move'`, name), nil)
				tab.Loading(func() { tab.Tap("#move") })
				tab.Until(drawn, 10*time.Second)
				if tab.Text(".window") == here {
					t.Errorf("%s leads nowhere", name)
				}
			}
			var hidden bool
			if tab.Eval(`document.querySelector('#trend-how').hidden`, &hidden); !hidden {
				t.Error("it explains what needs a script")
			}
		})
	}
}

// While the monitor does not answer the page says so, and keeps the picture.
func TestNoAnswer(t *testing.T) {
	b := browsertest.Start(t)
	cfg := american()
	tab := b.Tab(t, browsertest.Look{Width: 390})
	tab.Open(listen(t, cfg, evening(t, cfg)) + "/trend?since=8h")
	tab.Until(live, time.Minute)
	tab.Call("Network.emulateNetworkConditions", map[string]any{"offline": true, "latency": 0, "downloadThroughput": -1, "uploadThroughput": -1}, nil)
	tab.Eval(`trend.zoom(0.5, (trend.view.from + trend.view.to) / 2)`, nil)
	tab.Until(`document.querySelector('.failed')?.innerText.includes('does not answer') && document.querySelector('.stage-live svg')`, 10*time.Second)
	tab.Call("Network.emulateNetworkConditions", map[string]any{"offline": false, "latency": 0, "downloadThroughput": -1, "uploadThroughput": -1}, nil)
	asks(tab, func() { tab.Tap(`#trend-windows a[href*="since=1h"]`) })
	var gone bool
	if tab.Eval(`!document.querySelector('.failed')`, &gone); !gone {
		t.Error("it still says that there is no answer")
	}
}
